"""The way of a bond through the steps of a plan: what needs one comes after a pairing that keeps one. It outlives the link and
the power of the unit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from benchrig.plan.tree import StepPlan, every_step
from benchrig.source.problem import Problems
from benchrig.steps.base import Cap

_NOT_YET = "no pair step comes before it"


class _Bond(NamedTuple):
    """What is known between two steps. `made` is the step that has paired, `encrypted` the one that has encrypted the link
    that there is."""

    there: bool = False
    why: str = _NOT_YET
    made: StepPlan | None = None
    encrypted: StepPlan | None = None

    def or_(self, other: _Bond) -> _Bond:
        """One of the two holds: what may be there is tried."""
        known = self if self.there else other
        return known if self.encrypted and other.encrypted else known._replace(encrypted=None)

    def after(self, step: StepPlan) -> _Bond:
        """After a step that neither gives nor ends a bond."""
        if Cap.LINK in step.gives | step.ends:
            return self._replace(encrypted=None)
        return self._replace(encrypted=step) if step.kind.encrypts else self


def check_bonds(problems: Problems, nodes: Sequence[StepPlan]) -> None:
    """For each device of the plan."""
    for device in dict.fromkeys(step.device for step in every_step(nodes) if Cap.BOND in _about(step)):
        _Bonds(problems, device).through(nodes, _Bond())


def _about(step: StepPlan) -> frozenset[Cap]:
    return step.needs | step.kind.gives


class _Bonds:
    def __init__(self, problems: Problems, device: str) -> None:
        self._problems, self._device = problems, device
        self._told: set[str] = set()

    def through(self, steps: Iterable[StepPlan], bond: _Bond) -> _Bond:
        for step in steps:
            if step.device == self._device:
                self._check(step, bond)
            after = self._after(step, self._inside(step, bond))
            bond = bond.or_(after) if step.is_conditional else after
        return bond

    def _inside(self, step: StepPlan, bond: _Bond) -> _Bond:
        after = self.through(step.children, bond)
        if step.is_repeated and (after.there, after.encrypted) != (bond.there, bond.encrypted):
            after = self.through(step.children, after)
        return after

    def _after(self, step: StepPlan, bond: _Bond) -> _Bond:
        if step.device != self._device:
            return bond
        if Cap.BOND in step.gives:
            return _Bond(True, made=step, encrypted=step)
        if Cap.BOND in step.kind.gives:
            return _Bond(why=f"'{step.name}' keeps none")
        return _Bond(why=f"'{step.name}' has ended it") if Cap.BOND in step.ends else bond.after(step)

    def _check(self, step: StepPlan, bond: _Bond) -> None:
        if step.kind.unbonded and bond.made is not None and not bond.made.is_conditional:
            message = f"'{step.name}' begins without a bond, and '{bond.made.name}' has made one"
            self._tell(step, message, "add - unpair: before it")
        if Cap.BOND not in step.needs:
            return
        if not bond.there:
            message = f"'{step.name}' needs a bond, but {bond.why}"
            self._tell(step, message, "add - pair: before it, with bonding and without a failure")
        elif step.kind.encrypts and bond.encrypted is not None:
            message = f"'{step.name}' shows nothing: '{bond.encrypted.name}' has encrypted this link already"
            self._tell(step, message, "add - disconnect: and - connect: before it")
        elif bond.made is not None and (wrong := step.kind.after_bond(step.node, bond.made.node)) is not None:
            self._tell(step, f"'{step.name}' {wrong.message} ('{bond.made.name}')", wrong.advice)

    def _tell(self, step: StepPlan, message: str, advice: str) -> None:
        if step.id not in self._told:
            self._told.add(step.id)
            self._problems.add(step.place, message, advice)
