"""Escapes that are right: by a rule, or as people say in a file. What is left to another plan is run on that plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import msgspec

from benchrig.escapes.argued import Argued
from benchrig.escapes.cache import Cache
from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.results import JUDGED, PASSED, Argument, Result
from benchrig.escapes.rules import equivalent
from benchrig.faults.fault import Fault
from benchrig.plan.model import Plan
from benchrig.source.problem import counted

# So many faults more than those that it is for a pattern may fit.
_FEW = 10


@dataclass
class Arguing:
    """What becomes of the results of a hunt. `loads` gives the plan of a file, with the values of this run. `all_faults`:
    every fault of the device was tried, so that an argument for any other is stale. `cache` is the folder of kept
    results: what is left to another plan may have been tried on it before."""

    hunt: Hunt
    argued: Argued | None
    loads: Callable[[Path], Plan]
    all_faults: bool = False
    cache: Path | None = None
    stale: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    interrupted: bool = False

    def over(self, results: Sequence[Result], faults: Mapping[str, Fault]) -> list[Result]:
        by_rule = [self._by_rule(each, faults) for each in results]
        if self.argued is None:
            return by_rule
        self.stale += self._stale(self.argued, by_rule)
        self.notes += self._wide(self.argued, by_rule)
        argued = [self._by_people(self.argued, each) for each in by_rule]
        return self._proved(self.argued, argued, faults)

    def _by_rule(self, result: Result, faults: Mapping[str, Fault]) -> Result:
        """What a plan catches is not alike: a rule is asked for escapes alone."""
        if result.outcome != "escaped":
            return result
        why = equivalent(faults[result.fault.name].scene(self.hunt.sound), self.hunt.sound)
        return _argued(result, Argument(why)) if why else result

    def _by_people(self, argued: Argued, result: Result) -> Result:
        entry = next((each for each in argued.entries if each.faults.fit(result.fault.name)), None)
        if result.outcome not in PASSED or entry is None:
            return result
        return _argued(result, Argument(entry.why, str(entry.by), str(entry.date), str(entry.left_to or "")))

    def _stale(self, argued: Argued, results: Sequence[Result]) -> Iterator[str]:
        for place, entry in zip(argued.places, argued.entries, strict=True):
            fit = [each for each in results if entry.faults.fit(each.fault.name)]
            if not fit and self.all_faults:
                yield f"{place}: the device has no fault {entry.words}: take the entry out"
            elif fit and not any(each.outcome in PASSED for each in fit):
                yield f"{place}: {entry.words} does not escape any more: take the entry out"

    def _wide(self, argued: Argued, results: Sequence[Result]) -> Iterator[str]:
        """Where most of what an argument is for is caught: it would hide these too, should they escape one day."""
        for place, entry in zip(argued.places, argued.entries, strict=True):
            fit = [each for each in results if entry.faults.fit(each.fault.name)]
            caught, passed = (sum(each.outcome in kind for each in fit) for kind in (JUDGED - PASSED, PASSED))
            if passed and caught > max(passed, _FEW) and not entry.left_to:
                also = f"{entry.words} fits {counted(caught, 'fault')} that the plan does not pass"
                yield f"{place}: {also}: name the {passed} that it does"

    def _proved(self, argued: Argued, results: list[Result], faults: Mapping[str, Fault]) -> list[Result]:
        """Those that are left to another plan count only if that one catches them."""
        left: dict[str, list[Result]] = {}
        for each in results:
            if each.outcome == "left" and each.argument:
                left.setdefault(each.argument.left_to, []).append(each)
        refused: dict[str, str] = {}
        for name, theirs in left.items():
            tried = [] if self.interrupted else [faults[each.fault.name] for each in theirs]
            caught = self._caught_by(argued.plan.parent / name, tried) if tried else set()
            refused |= {each.fault.name: name for each in theirs if each.fault.name not in caught}
        if not self.interrupted:
            self.notes += [f"{name} is left to {plan}, which does not catch it" for name, plan in refused.items()]
        return [_refused(each) if each.fault.name in refused else each for each in results]

    def _caught_by(self, path: Path, faults: Sequence[Fault]) -> set[str]:
        """The names of those that the other plan catches; NotSound when it does not pass the sound device."""
        other = replace(self.hunt, plan=self.loads(path), whole=False)
        other.prove()
        cache = Cache.of(self.cache, other)
        hunting = Hunting(other, faults, cache.known(faults))
        results = hunting.run()
        cache.keep(results)
        self.interrupted = self.interrupted or hunting.interrupted
        return {each.fault.name for each in results if each.outcome == "caught"}


def _argued(result: Result, argument: Argument) -> Result:
    return msgspec.structs.replace(result, outcome="left" if argument.left_to else "argued", argument=argument)


def _refused(result: Result) -> Result:
    outcome = "by luck" if any(each.by for each in result.trials) else "escaped"
    return msgspec.structs.replace(result, outcome=outcome, argument=None)
