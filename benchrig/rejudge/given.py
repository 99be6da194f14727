"""The plan with the values that a run was given, as far as its record has them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from benchrig.plan.given_spec import Given
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.record.events import RunStarted
from benchrig.record.secrets import MASK


class PlanForRuns:
    """A plan, with a limit set or without, for many runs: loaded once for equal values."""

    def __init__(self, path: Path, limits: Path | None = None) -> None:
        self._path, self._limits = path, limits
        self._specs: Mapping[str, Given] = load_plan(path, limits=limits).given
        self._plans: dict[tuple[tuple[str, str], ...], Plan] = {}

    @property
    def any_of_them(self) -> Plan:
        return next(iter(self._plans.values()))

    def of(self, run: RunStarted) -> Plan:
        """With what the run was given. Secret values are not on record: what refers to them stays open. PlanError,
        UsageError."""
        given = {name: run.scanned.get(name, text) for name, text in run.given.items() if name in self._specs}
        secret = {name for name, spec in self._specs.items() if spec.secret or given.get(name) == MASK}
        known = {name: text for name, text in given.items() if name not in secret}
        key = tuple(sorted(known.items()))
        if key not in self._plans:
            self._plans = {key: self._load(known, secret)}
        return self._plans[key]

    def _load(self, known: Mapping[str, str], secret: set[str]) -> Plan:
        plan = load_plan(self._path, known, limits=self._limits, unknown=secret)
        return replace(plan, values={name: value for name, value in plan.values.items() if name not in secret})
