"""All faults over all cores: what a plan makes of each, in an order that does not depend on who was done first."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field

from benchrig import signals
from benchrig.errors import BenchrigError, OperatorError
from benchrig.escapes.outcome import outcome_of
from benchrig.escapes.results import About, Came, Result, Told, order
from benchrig.escapes.stopping import tried
from benchrig.faults.fault import Fault, Scene
from benchrig.plan.model import Plan
from benchrig.source.shape import Misfit
from benchrig.steps.bench import Operator
from benchrig.workers import PATIENCE, Lost, cores, done

_CORRECT = "run it with 'benchrig run', and correct plan or device first"
# The sound device has to pass with this many seeds at least.
SOUND_SEEDS = 3


class NotSound(BenchrigError):
    """The plan does not pass the sound device: what it says of a broken one means nothing."""

    cause = "plan"


@dataclass(frozen=True)
class Hunt:
    """What is tried, and how. `whole`: a trial goes on after the first catch, so that all that catch a fault are known."""

    plan: Plan
    sound: Scene
    operator: Operator
    seeds: tuple[int, ...] = (0,)
    whole: bool = False
    jobs: int = field(default_factory=cores)
    patience: float = PATIENCE

    def prove(self) -> None:
        """NotSound unless the plan passes the sound device, with all the seeds and a few more; OperatorError where somebody
        interrupts it, or would have to answer."""
        for seed in self.seeds + tuple(range(self.seeds[-1] + 1, self.seeds[0] + SOUND_SEEDS)):
            came = tried(self.plan, self.sound, self.operator, seed, whole=True)
            if came.by is not None and came.by.cause == "operator":
                raise OperatorError(
                    _not_passed(self.plan, came), advice="name a value with 'given:', and give it with --set"
                )
            if came.by is not None:
                raise NotSound(_not_passed(self.plan, came), advice=_CORRECT)


def _not_passed(plan: Plan, came: Came) -> str:
    by = came.by
    assert by is not None
    where = f"step {by.node}, {by.step}" if by.node else "the run"
    reading = f" ({by.reading})" if by.reading else ""
    return f"{plan.path.name} does not pass the sound device with seed {came.seed}: {where}{reading}: {by.message}"


# What is known of faults from before, by name and seed.
Known = Mapping[tuple[str, int], Came]


@dataclass
class Hunting:
    """A hunt that takes place: `results` are those that there are, `interrupted` says whether it was ended before all were
    there."""

    hunt: Hunt
    faults: Sequence[Fault]
    known: Known = field(default_factory=dict)
    told: Told = lambda result: None
    results: list[Result] = field(default_factory=list)
    trials: int = 0
    interrupted: bool = False

    def __post_init__(self) -> None:
        self.faults = sorted(self.faults, key=order)

    def run(self) -> list[Result]:
        """What each fault came to, what matters most first. Ctrl-C ends it with what there is."""
        try:
            with closing(self._results()) as results:
                for result in results:
                    self.results.append(result)
                    self.told(result)
        except KeyboardInterrupt:
            signals.hold()
            self.interrupted = True
        self.results.sort(key=lambda each: order(each.fault))
        return self.results

    def _results(self) -> Generator[Result, None, None]:
        waiting: list[tuple[Fault, Scene]] = []
        for fault in self.faults:
            ready = self._without_trial(fault)
            if isinstance(ready, Result):
                yield ready
            else:
                waiting.append((fault, ready))
        with closing(done(self._work(waiting), len(waiting), self.hunt.jobs, self.hunt.patience)) as answers:
            for number, answer in answers:
                yield self._result(waiting[number][0], answer)

    def _without_trial(self, fault: Fault) -> Result | Scene:
        """What is known of it without one; else the broken scene."""
        about = About.of(fault)
        try:
            scene = fault.scene(self.hunt.sound)
        except Misfit as misfit:
            return Result(about, "not applicable", reason=misfit.message)
        except Exception as error:
            return Result(about, "failed", reason=f"{type(error).__name__}: {error}")
        known = [self.known.get((fault.name, seed)) for seed in self.hunt.seeds]
        came = [each for each in known if each is not None]
        return Result(about, outcome_of(about, came), came) if len(came) == len(known) else scene

    def _work(self, waiting: Sequence[tuple[Fault, Scene]]) -> Callable[[int], list[Came]]:
        hunt, known = self.hunt, self.known

        def work(number: int) -> list[Came]:
            fault, scene = waiting[number]
            return [
                known.get((fault.name, seed)) or tried(hunt.plan, scene, hunt.operator, seed, whole=hunt.whole)
                for seed in hunt.seeds
            ]

        return work

    def _result(self, fault: Fault, answer: list[Came] | Lost) -> Result:
        about = About.of(fault)
        if isinstance(answer, Lost):
            return Result(about, "failed", reason=answer.reason)
        self.trials += sum((fault.name, each.seed) not in self.known for each in answer)
        return Result(about, outcome_of(about, answer), answer)
