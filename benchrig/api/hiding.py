"""Secrets of a run in Python: they reach the unit, and nothing that the run leaves or raises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchrig.api.words import secrets_in
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.keeping import Events
from benchrig.record.secrets import ALL, Secrets


@dataclass
class Hiding:
    """What `events` leave out from the first secret on."""

    events: Events
    plan: Plan

    def begin(self, brought: Plan | None) -> None:
        """The secret values of the plan that brings the names."""
        if brought is not None:
            for name in brought.secret_names:
                self.add(str(brought.values[name]))

    def learn(self, *data: object) -> None:
        """The secrets in what is asked for."""
        for secret in (each for part in data for each in secrets_in(part)):
            value = secret.value
            self.add(value.hex(" ").upper() if isinstance(value, bytes) else str(value))

    def add(self, text: str) -> None:
        """One that became known."""
        self._secrets.learn(text)

    def tells(self, step: StepPlan, keys: Mapping[str, object]) -> None:
        """What a step that uses one may tell of it: what its limits hold, what is read back; of steps in it, all."""
        if (own := replace(self.plan, nodes=(step,)).secrets()) is not None:
            self._secrets.merge(own)
        if any(secrets_in(keys.get("steps", ()))):
            self._secrets.hide(dict.fromkeys((each.id for each in every_step([step])), frozenset({ALL})))
        elif any(secrets_in(keys)):
            expect = keys.get("expect")
            limits = expect.items() if isinstance(expect, Mapping) else ()
            held = {str(name) for name, limit in limits if any(secrets_in(limit))}
            self._secrets.hide({step.id: frozenset(held | step.kind.echoes)})

    def text(self, text: str) -> str:
        """The text without any of them."""
        return self.events.secrets.text(text) if self.events.secrets is not None else text

    @property
    def _secrets(self) -> Secrets:
        if self.events.secrets is None:
            self.events.secrets = Secrets((), {})
        return self.events.secrets
