"""What the runs of a plan come to together, and what all of them do: one exit code."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchrig.series.outcome import Ran

# The worst first. A bug may be in every other verdict; then what is known of a unit comes before what kept one from being
# tested, and of that first what a second attempt does not cure.
ORDER = (3, 1, 4, 7, 2, 5, 0)
_HEADS = {0: "PASS", 1: "FAIL", 5: "NOT JUDGED"}


def worst(codes: Iterable[int]) -> int:
    """The exit code of several runs. A code that is not in the order is a bug."""
    return min(codes, key=lambda code: ORDER.index(code) if code in ORDER else -1)


@dataclass(frozen=True)
class Tally:
    """The runs of one plan."""

    path: Path
    runs: Sequence[Ran]

    @property
    def passed(self) -> int:
        return sum(run.code == 0 for run in self.runs)

    @property
    def is_flaky(self) -> bool:
        """Whether the unit passed some of them and failed others."""
        return {0, 1} <= {run.code for run in self.runs}

    @property
    def decisive(self) -> Ran:
        """The first of the worst: in its folder a reader looks first. What was not run has none."""
        begun = [run for run in self.runs if run.is_run] or self.runs
        code = worst(run.code for run in begun)
        return next(run for run in begun if run.code == code)

    @property
    def verdict(self) -> str:
        return "flaky" if self.is_flaky else self.decisive.verdict

    @property
    def times(self) -> str:
        """'2 of 3'."""
        return f"{self.passed} of {len(self.runs)}"

    @property
    def seconds(self) -> float:
        return sum(run.seconds for run in self.runs)


@dataclass(frozen=True)
class Total:
    """All runs of a call."""

    runs: Sequence[Ran]
    interrupted: bool = False

    @property
    def code(self) -> int:
        """That of the operator where a signal ended the call, but for a bug."""
        code = worst(run.code for run in self.runs)
        return 2 if self.interrupted and code != 3 else code

    @property
    def tallies(self) -> list[Tally]:
        paths = dict.fromkeys(run.path for run in self.runs)
        return [Tally(path, [run for run in self.runs if run.path == path]) for path in paths]

    @property
    def is_repeated(self) -> bool:
        return any(run.repetition > 1 for run in self.runs)

    @property
    def head(self) -> str:
        """'FAIL, SIMULATED'."""
        marks = dict.fromkeys(mark for run in self.runs for mark in run.marks)
        return ", ".join([_HEADS.get(self.code, "ERROR"), *marks])

    @property
    def sentence(self) -> str:
        """'1 of 3 runs failed, 1 passed, 1 not run (exit code 1)'."""
        words = Counter(_word(run) for run in self.runs)
        first, *rest = [f"{words[word]} {word}" for word in _WORDS if words[word]]
        flaky = [str(each.path) for each in self.tallies if each.is_flaky]
        told = f"; flaky: {', '.join(flaky)}" if flaky else ""
        runs = f"{len(self.runs)} {'run' if len(self.runs) == 1 else 'runs'}"
        return f"{runs}: {', '.join([first, *rest])}{told} (exit code {self.code})"


_WORDS = ("passed", "failed", "in error", "not judged", "not run")


def _word(run: Ran) -> str:
    if not run.is_run:
        return "not run"
    return {0: "passed", 1: "failed", 5: "not judged"}.get(run.code, "in error")
