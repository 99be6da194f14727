"""The plans of a call, loaded and checked before the first of them runs: the mistakes of all are told at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.cli.given import asked_for, load_with_given, values_for
from benchrig.cli.out import echo
from benchrig.errors import PlanError, UsageError
from benchrig.plan.given_words import parse_given, with_secrets

if TYPE_CHECKING:
    from benchrig.errors import Mistake
    from benchrig.plan.given_spec import Given
    from benchrig.plan.model import Plan


@dataclass(frozen=True)
class Asking:
    """Whether missing values may be asked for, how long to wait for the answer, and what random ones come from; what the
    station forbids."""

    ask: bool
    within: float
    seed: int | None
    forbid: Sequence[str] = ()


@dataclass(frozen=True)
class Loaded:
    """A plan with its values as text, and the limits of it that need not be judged."""

    plan: Plan
    values: Mapping[str, str]
    may_lack: frozenset[str]
    is_seeded: bool

    def again(self, seed: int) -> Plan:
        """With random values of another seed, on a radio without one with new values."""
        from benchrig.plan.loader import load_plan

        seeded = seed if self.is_seeded else None
        return load_plan(self.plan.path, self.values, seed=seeded, limits=self.plan.limits_file)


@dataclass
class Mistakes:
    """The problems of several files, each once: what they share has the same one."""

    found: dict[str, Mistake] = field(default_factory=dict)

    @contextmanager
    def of(self, path: Path) -> Iterator[None]:
        try:
            yield
        except PlanError as error:
            self.found |= {str(each): each for each in error.problems}
        except UsageError as error:
            self.add(f"{path}: {error.message}", error.advice)

    def add(self, message: str, advice: str) -> None:
        from benchrig.source.problem import NOWHERE, Problem

        problem = Problem(NOWHERE, message, advice)
        self.found[str(problem)] = problem

    def raise_if_any(self) -> None:
        if self.found:
            raise PlanError([*self.found.values()])


def load_plans(
    paths: Sequence[Path],
    of_station: Mapping[str, str],
    typed: Iterable[str],
    asking: Asking,
    may_lack: Sequence[str] = (),
    devices: Sequence[str] = (),
    limits: Sequence[Path] = (),
) -> list[Loaded]:
    """Each plan with those of the values and limits that it has, under the limit set that names it. PlanError with all
    mistakes in all of them; a name that no plan has is one, too."""
    from benchrig.plan.limit_choice import limits_for

    sets = limits_for(paths, limits) if limits else {}
    if len(paths) == 1:
        return [_load_one(paths[0], of_station, typed, asking, may_lack, sets.get(paths[0]))]
    mistakes = Mistakes()
    values = _values(paths, of_station, parse_given(typed), mistakes, asking.forbid)
    plans = _loaded(values, asking, mistakes, sets)
    for path, plan in plans.items():
        with mistakes.of(path):
            _check_devices(plan, devices)
    known = {path: _limits(plan) for path, plan in plans.items()}
    if len(plans) == len(paths):
        _check_known("limit", "--may-lack", may_lack, known.values(), mistakes)
    mistakes.raise_if_any()
    seeded = asking.seed is not None
    return [Loaded(plans[path], values[path], known[path].intersection(may_lack), seeded) for path in paths]


def _load_one(
    path: Path,
    of_station: Mapping[str, str],
    typed: Iterable[str],
    asking: Asking,
    may_lack: Sequence[str],
    limits: Path | None,
) -> Loaded:
    from benchrig.run.head import known_limits

    values = values_for(path, of_station, typed, asking.forbid)
    plan, values = load_with_given(
        path, values, ask=asking.ask, within=asking.within, seed=asking.seed, forbid=asking.forbid, limits=limits
    )
    return Loaded(plan, values, known_limits(plan, may_lack), asking.seed is not None)


def _limits(plan: Plan) -> frozenset[str]:
    from benchrig.plan.checks import limits_by_name

    return frozenset(limits_by_name(plan.steps))


def _check_devices(plan: Plan, devices: Sequence[str]) -> None:
    from benchrig.run.head import narrowed

    narrowed(plan, devices)


def _check_known(
    what: str, option: str, names: Iterable[str], known: Iterable[Iterable[str]], mistakes: Mistakes
) -> None:
    from benchrig.source.problem import suggest

    there = {each for names in known for each in names}
    for name in names:
        if name not in there:
            advice = suggest(name, there) or "take it out of the command"
            mistakes.add(f"{option}: none of the plans has a {what} '{name}'", advice)


# --- values


def _values(
    paths: Sequence[Path],
    of_station: Mapping[str, str],
    typed: Mapping[str, str],
    mistakes: Mistakes,
    forbid: Sequence[str],
) -> dict[Path, dict[str, str]]:
    """Of each plan that can be read the values that it asks for."""
    from benchrig.plan.loader import load_plan

    if not (typed or of_station):
        return {path: {} for path in paths}
    asked: dict[Path, Mapping[str, Given]] = {}
    for path in paths:
        with mistakes.of(path):
            asked[path] = load_plan(path, forbid=forbid).given
    if len(asked) == len(paths):
        _check_known("given value", "--set", typed, asked.values(), mistakes)
    values: dict[Path, dict[str, str]] = {}
    for path, names in asked.items():
        with mistakes.of(path):
            own = with_secrets(path, {name: value for name, value in typed.items() if name in names})
            values[path] = {name: value for name, value in of_station.items() if name in names} | own
    return values


def _loaded(
    values: dict[Path, dict[str, str]], asking: Asking, mistakes: Mistakes, sets: Mapping[Path, Path]
) -> dict[Path, Plan]:
    """The plans. Missing values are asked for when nothing else is wrong, each once; `values` has them then."""
    from benchrig.plan.given import MissingGiven
    from benchrig.plan.loader import load_plan

    def load(path: Path) -> Plan:
        return load_plan(path, values[path], seed=asking.seed, forbid=asking.forbid, limits=sets.get(path))

    plans: dict[Path, Plan] = {}
    missing: dict[Path, Mapping[str, Given]] = {}
    for path in values:
        with mistakes.of(path):
            try:
                plans[path] = load(path)
            except MissingGiven as error:
                if not asking.ask:
                    raise
                missing[path] = error.missing
    if missing and not mistakes.found:
        answers = asked_for(_of_all(missing), asking.within)
        for path, names in missing.items():
            values[path] |= {name: answers[name] for name in names}
            with mistakes.of(path):
                plans[path] = load(path)
    return plans


@dataclass(frozen=True)
class _OfAll:
    """A value that several plans ask for: it satisfies the limits of all."""

    specs: Sequence[Given]

    @property
    def secret(self) -> bool:
        return any(spec.secret for spec in self.specs)

    def question(self, name: str) -> str:
        return self.specs[0].question(name)

    def problem_in(self, text: str) -> str:
        return next(filter(None, (spec.problem_in(text) for spec in self.specs)), "")


def _of_all(missing: Mapping[Path, Mapping[str, Given]]) -> dict[str, _OfAll]:
    """By name, after a line that says which plans ask."""
    for path in missing:
        echo(f"{path}: values are needed", err=True)
    names = dict.fromkeys(name for specs in missing.values() for name in specs)
    return {name: _OfAll([specs[name] for specs in missing.values() if name in specs]) for name in names}
