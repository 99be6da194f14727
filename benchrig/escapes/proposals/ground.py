"""What proposals are made from: the plan as it is written, and the sound device."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from benchrig.faults.fault import Scene
from benchrig.plan.editing import Path_, Unfit, path_of, root_of
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.plan.writing import StepText
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.spread import Unit, unit_of
from benchrig.source.nodes import as_written, locate
from benchrig.source.problem import Problems
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Sequence, read_bytes
from benchrig.steps.bench import Operator

NO_LABELS: Mapping[str, str] = {}
_UP, _DOWN = "connect", "disconnect"
# What is done before the attributes of a device are looked at.
_FIRST = ("connect", "discover", "pair", "encrypt")


@dataclass(frozen=True)
class Ground:
    """A plan that passes the device of the `sound` scene. `given` are the values of its runs."""

    plan: Plan
    text: str
    sound: Scene
    operator: Operator
    given: Mapping[str, str] = field(default_factory=dict)
    jobs: int = 1
    seed: int = 0
    # the device with what its file says of how units differ
    spread: DeviceSpec | None = None

    @property
    def unit(self) -> DeviceSpec:
        return self.sound.unit

    @cached_property
    def root(self) -> MappingNode:
        return root_of(self.text, str(self.plan.path))

    def loaded(self, text: str, labels: Mapping[str, str] = NO_LABELS, told: Mapping[str, str] = NO_LABELS) -> Plan:
        """Another text of the plan; `labels` are those of another unit, for what the plan asks for, `told` is for what
        the text asks for beside it. PlanError."""
        read = {name: label for name, label in labels.items() if name in self.plan.given}
        values, limits = {**self.given, **read, **told}, self.plan.limits_file
        return load_plan(self.plan.path, values, text=text, seed=self.seed, limits=limits)

    @property
    def is_spread(self) -> bool:
        return self.spread is not None and self.spread.spread is not None

    def units(self, count: int) -> Iterator[Unit]:
        """So many good units that differ; none where the device file does not say how."""
        if self.spread is not None and self.is_spread:
            yield from (unit_of(self.spread, number, self.seed) for number in range(1, count + 1))

    @cached_property
    def written(self) -> dict[str, Path_]:
        """The steps that are in the plan's own file, by their ids, with their places in it."""
        found = ((step.id, path_of(self.root, step.place)) for step in self.plan.steps)
        return {id_: path for id_, path in found if path is not None}

    @cached_property
    def begin(self) -> Path_ | None:
        """The step after which attributes can be used first; None without any."""
        before = [index for index, verb in self._linked if verb in _FIRST]
        first = [before[0]] if before else []
        while first and first[-1] + 1 in before:
            first.append(first[-1] + 1)
        return ("steps", first[-1]) if first else None

    @cached_property
    def end(self) -> Path_ | None:
        """The last step of the plan's own list after which the link is up; None without any."""
        linked = [index for index, _ in self._linked]
        return ("steps", linked[-1]) if linked else None

    @cached_property
    def _linked(self) -> list[tuple[int, str]]:
        """The steps of that list after which the link is up, with their verbs."""
        listed, up, found = self.root.get("steps"), False, list[tuple[int, str]]()
        for index, item in enumerate(listed.items if isinstance(listed, Sequence) else ()):
            keys = item.entries.keys() if isinstance(item, MappingNode) else set()
            up = (up or _UP in keys) and _DOWN not in keys
            if up:
                found.append((index, next((verb for verb in _FIRST if verb in keys), "")))
        return found

    def step(self, id_: str) -> StepPlan:
        return next(step for step in self.plan.steps if step.id == id_)

    def check_written(self) -> None:
        """Unfit where the text of the plan has no place for a change."""
        listed = self.root.get("steps")
        if (
            isinstance(listed, Sequence)
            and self.text.splitlines()[listed.place.line - 1][listed.place.column - 1] == "["
        ):
            raise Unfit(
                f"{self.plan.path.name} has its steps within brackets", advice="write a line with '- ' for each step"
            )
        if not self.written:
            said = f"all steps of {self.plan.path.name} come with 'use'"
            raise Unfit(said, advice="run 'benchrig escapes' with the plan that has these steps in its own list")

    def has(self, step: StepText) -> bool:
        """Whether a step of the plan's own file is the same, whatever it is called."""
        node = read_bytes("\n".join(step.lines(0)).encode(), "", Problems())
        assert isinstance(node, Sequence), "a step is written as an item of a list"
        return as_written(node.items[0]) in self._told

    @cached_property
    def _told(self) -> list[Any]:
        told = [as_written(locate(self.root, path)) for path in self.written.values()]
        return [{key: item for key, item in each.items() if key != "name"} for each in told]

    def scenes(self) -> list[Scene]:
        """The sound one as it is, and on rough air: whatever the air is, a good device passes."""
        return [self.sound, replace(self.sound, air="rough")] if self.sound.air is None else [self.sound]
