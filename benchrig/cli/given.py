"""`--set name=value`, and values that a person types or scans when they are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from benchrig.cli.out import echo

if TYPE_CHECKING:
    from benchrig.plan.model import Plan


class Asked(Protocol):
    """A given value as far as it is asked for."""

    @property
    def secret(self) -> bool: ...

    def question(self, name: str) -> str: ...

    def problem_in(self, text: str) -> str: ...


def values_for(
    path: Path, of_station: Mapping[str, str], typed: Iterable[str], forbid: Sequence[str] = ()
) -> dict[str, str]:
    """The values of `name=value` words, and those of the station that this plan asks for: a station serves many. `forbid` is
    what that does not allow."""
    from benchrig.plan import given_words as words

    return words.of_station(path, of_station, forbid) | words.with_secrets(path, words.parse_given(typed))


def load_with_given(
    path: Path,
    given: Mapping[str, str],
    *,
    ask: bool,
    within: float,
    seed: int | None = None,
    forbid: Sequence[str] = (),
    limits: Path | None = None,
) -> tuple[Plan, dict[str, str]]:
    """The plan, and its values as text. Missing ones are asked for at the terminal when `ask` (a barcode reader types too)."""
    from benchrig.plan.given import MissingGiven
    from benchrig.plan.loader import load_plan

    try:
        return load_plan(path, given, seed=seed, forbid=forbid, limits=limits), dict(given)
    except MissingGiven as missing:
        if not ask:
            raise
        echo(f"{path}: values are needed", err=True)
        answers = asked_for(missing.missing, within)
    values = {**given, **answers}
    return load_plan(path, values, seed=seed, forbid=forbid, limits=limits), values


def asked_for(missing: Mapping[str, Asked], within: float) -> dict[str, str]:
    """What the person at the terminal gives for each name."""
    from benchrig.cli.operator import AtTerminal
    from benchrig.loop import in_loop

    operator = AtTerminal(within=within)

    async def asked() -> dict[str, str]:
        return {
            name: await operator.value(name, spec.problem_in, prompt=spec.question(name), secret=spec.secret)
            for name, spec in missing.items()
        }

    return in_loop(asked(), None)
