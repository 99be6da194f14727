"""A plan as it was loaded: checked, its steps in order, its references still open."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, ClassVar

import msgspec

from benchrig.errors import PlanError, UsageError
from benchrig.plan.conditions import Kinds
from benchrig.plan.given_spec import Given
from benchrig.plan.inner import InnerReadings
from benchrig.plan.kept_text import texts_of
from benchrig.plan.requirements import Requirement
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan, every_step
from benchrig.plan.variants import Tables
from benchrig.radio.scan import Selection
from benchrig.record.events import PlannedLimits, PlanSource
from benchrig.record.secrets import ALL, TEXTS, Secrets
from benchrig.source.file_names import FileNames
from benchrig.source.nodes import as_written, locate
from benchrig.source.problem import Place, Problems
from benchrig.source.references import has_reference, references
from benchrig.source.shape import BAD, Misfit, Reader, describe_value, octets
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.attribute import AttributeSpec, Names, ServiceName
from benchrig.values.address import KEY_SIZE
from benchrig.values.limit_keys import AnyValue
from benchrig.values.quantity import Duration, Gain, Level


class HexText(str):
    """Bytes as quoted hex text."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "pattern": "^([0-9A-Fa-f]{2} ?)*$"}

    @classmethod
    def from_source(cls, value: Any) -> HexText:
        octets(value)
        return cls(value)


class Revision(str):
    """A revision: a number or a text."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": ["integer", "string"]}

    @classmethod
    def from_source(cls, value: Any) -> Revision:
        if isinstance(value, (dict, list, bool)) or value is None:
            raise Misfit(f"expected a number or text, found {describe_value(value)}", "for example: 3")
        return cls(value)


class Marker(str):
    """A word by which the plan is selected, together with others."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "pattern": "^[A-Za-z_][A-Za-z0-9_]*$"}

    @classmethod
    def from_source(cls, value: Any) -> Marker:
        if not isinstance(value, str) or re.fullmatch("[A-Za-z_][A-Za-z0-9_]*", value) is None:
            raise Misfit(
                f"expected a word of letters, digits and _, found {describe_value(value)}", "for example: smoke"
            )
        if value in TAKEN_MARKERS:
            raise Misfit(f"pytest takes the marker '{value}' for more than a name", "write another word, or a limit")
        return cls(value)


# These change what becomes of a test in pytest.
TAKEN_MARKERS = frozenset(
    {"asyncio", "filterwarnings", "parametrize", "skip", "skipif", "timeout", "usefixtures", "xdist_group", "xfail"}
)


class Manufacturer(msgspec.Struct, omit_defaults=True):
    """Manufacturer data: the company identifier, and what the data begins with."""

    company: int
    data: HexText | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not 0 <= self.company <= 0xFFFF:
            yield Misfit(
                f"a company identifier has 16 bits, {self.company} has more", "for example: 0xFFFF", path=("company",)
            )


class Select(msgspec.Struct, omit_defaults=True):
    """Which device is the unit: every key that is given must fit what the device advertises."""

    name: str | None = None
    services: list[ServiceName] = []
    manufacturer: Manufacturer | None = None
    address: str | None = None
    rssi_min: Level | None = None
    nearest: Gain | None = None
    identity_key: HexText | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not (self.name or self.services or self.manufacturer or self.address or self.identity_key):
            yield Misfit(
                "an empty selection would take any device", "add name, services, manufacturer, address or identity_key"
            )
        if self.identity_key is not None and len(octets(self.identity_key)) != KEY_SIZE:
            yield Misfit(f"an identity key has {KEY_SIZE} bytes", path=("identity_key",))

    def selection(self, names: Names) -> Selection:
        """Raises Misfit for an unknown service."""
        services = []
        for index, name in enumerate(self.services):
            try:
                services.append(names.service(name))
            except Misfit as misfit:
                raise Misfit(misfit.message, misfit.advice, ("services", index)) from misfit
        return Selection(
            name=self.name,
            services=tuple(services),
            manufacturer=self.manufacturer.company if self.manufacturer else None,
            manufacturer_data=bytes.fromhex(self.manufacturer.data or "") if self.manufacturer else b"",
            address=self.address,
            rssi_min=float(self.rssi_min.number) if self.rssi_min else None,
            nearest=float(self.nearest.number) if self.nearest else None,
            key=octets(self.identity_key) if self.identity_key else None,
        )


class Device(msgspec.Struct, omit_defaults=True):
    """The device under test: how to pick it, and the plan's names for its attributes."""

    elsewhere: ClassVar[dict[str, str]] = dict.fromkeys(
        ("steps", "finally", "given", "caution", "deadline", "revision"), "write it beside 'device', not in it"
    )

    select: Select
    attributes: dict[str, AttributeSpec] = {}
    use: FileNames | None = None


class PlanFile(msgspec.Struct, omit_defaults=True, kw_only=True):
    """The top of a plan file; the lists of steps are read one by one."""

    plan: str
    device: Device | None = None
    devices: dict[str, Device] = {}
    steps: AnyValue
    revision: Revision | None = None
    caution: str = ""
    given: dict[str, Given] = {}
    variants: Tables | None = None
    deadline: Duration | None = None
    may_lack: list[str] = []
    requirements: dict[str, str] = {}
    markers: list[Marker] = []
    finally_: AnyValue | None = msgspec.field(name="finally", default=None)

    @property
    def described(self) -> dict[str, Device]:
        """The devices by name; '' is that of the only one."""
        return self.devices or ({"": self.device} if self.device else {})

    def misfits(self) -> Iterable[Misfit]:
        if self.device is None and not self.devices:
            yield Misfit("the key 'device' is missing", "add device: …")
        if self.device is not None and self.devices:
            yield Misfit("the plan has both device and devices", "keep one of the two", path=("devices",))
        if not self.plan.strip():
            yield Misfit("a plan needs a name", "for example: plan: End of line", path=("plan",))
        for index, marker in enumerate(self.markers):
            if marker in self.markers[:index]:
                yield Misfit(f"the marker '{marker}' is there twice", "write it once", ("markers", index))
        for name, says in self.requirements.items():
            if isinstance(says, str) and not says.strip():
                message = f"the requirement '{name}' says nothing"
                yield Misfit(message, "write what the product promises, in a sentence", ("requirements", name))
        if self.deadline is not None and self.deadline.seconds == 0:
            yield Misfit("deadline must be more than 0 s", "for example: 60 s", path=("deadline",))


class NamesFile(PlanFile, omit_defaults=True, kw_only=True):
    """The same where only the names and the device are wanted: the steps may be missing."""

    steps: AnyValue | None = None  # type: ignore[assignment]


class StepsFile(msgspec.Struct, omit_defaults=True):
    """A file of steps that plans include with `use`; `given` names its parameters."""

    steps: AnyValue
    given: dict[str, Given] = {}


def _texts(node: Node) -> Iterator[str]:
    """What is written in a node, without references. Words are no secrets."""
    if isinstance(node, MappingNode):
        for _, part in node.entries.values():
            yield from _texts(part)
    elif isinstance(node, Scalar) and not has_reference(node) and any(each.isdigit() for each in str(node.value)):
        yield str(node.value)


@dataclass(frozen=True)
class PlanDevice:
    """A device of a plan: how it is selected, and the names of its attributes."""

    node: Node
    names: Names

    def selection(self, values: Mapping[str, Any]) -> Selection:
        """With the values in place. PlanError when they do not fit."""
        problems = Problems()
        node = locate(self.node, ("select",))
        select = Reader(problems).read(substitute(node, values, Room(problems)), Select)
        if select is not BAD:
            try:
                return select.selection(self.names)  # type: ignore[no-any-return]
            except Misfit as misfit:
                Reader(problems).misfit(node, misfit)
        raise PlanError(problems.found)

    def written(self) -> dict[str, Any]:
        """The selection as it is written, without the key that it may have."""
        select = locate(self.node, ("select",))
        entries = select.entries if isinstance(select, MappingNode) else {}
        return {key: as_written(node) for key, (_, node) in entries.items() if key != "identity_key"}


@dataclass(frozen=True)
class Plan:
    """A checked plan. `hash` is SHA-256 over the plan file and all that it includes."""

    name: str
    path: Path
    hash: str
    revision: str
    caution: str
    # by name; '' is that of the only one
    devices: Mapping[str, PlanDevice]
    given: Mapping[str, Given]
    deadline: float | None
    nodes: tuple[StepPlan, ...]
    may_lack: frozenset[str] = frozenset()
    # words by which it is selected
    markers: tuple[str, ...] = ()
    # what the product promises, by id
    requirements: Mapping[str, Requirement] = field(default_factory=dict)
    values: Mapping[str, Any] = field(default_factory=dict)
    # the whole texts that values were taken out of, by name
    scanned: Mapping[str, str] = field(default_factory=dict)
    # the row of each table of variants
    variants: Mapping[str, str] = field(default_factory=dict)
    # what the values are that conditions may name, where that is known
    kinds: Mapping[str, Kinds] = field(default_factory=dict)
    # where each of its files begins: its own, those of shared steps and of names
    begins: tuple[Place, ...] = ()
    # whose limits stand in for those of the plan
    limit_set: PlannedLimits | None = None

    @property
    def limits_file(self) -> Path | None:
        """The file of its limit set, with which another text of the plan is loaded as this one was."""
        return None if self.limit_set is None else Path(self.limit_set.file)

    @cached_property
    def steps(self) -> tuple[StepPlan, ...]:
        """All steps, in the order in which they are written; a composite one comes before those in it."""
        return tuple(every_step(self.nodes))

    @cached_property
    def defined(self) -> frozenset[str]:
        """The names that the plan itself gives a value."""
        return frozenset({*self.given, *self.values}) | {name for step in self.steps for name in step.saves}

    @cached_property
    def text(self) -> list[PlanSource]:
        """Of the files that it is read from, that of the plan first and those of names last, as a run keeps it."""
        steps = [*(device.node.place for device in self.devices.values()), *(step.place for step in self.steps)]
        pairs = any(step.kind.conceals for step in self.steps)
        return texts_of([*steps, *self.begins], self.secret_names | self.concealed_names, pairs=pairs)

    @property
    def only(self) -> PlanDevice:
        """The device of a plan with one. UsageError for a plan with several."""
        if len(self.devices) > 1:
            message = f"{self.path.name} has several devices: {', '.join(self.devices)}"
            raise UsageError(message, advice="give a plan with one device, or a file of names")
        return next(iter(self.devices.values()))

    @property
    def names(self) -> Names:
        """Those of the only device."""
        return self.only.names

    def selection(self) -> Selection:
        """That of the only device, with the given values in place. PlanError when they do not fit."""
        return self.only.selection(self.values)

    @property
    def secret_names(self) -> frozenset[str]:
        secret = {name for name, spec in self.given.items() if spec.secret}
        return frozenset(name for name in secret | self.concealed_names if name in self.values)

    @cached_property
    def concealed_names(self) -> frozenset[str]:
        """The names of the values that steps conceal."""
        return frozenset(name for step in self.steps for node in step.concealed for name, _ in references(node))

    def secrets(self) -> Secrets | None:
        """What keeps the secret values, and those that steps conceal, out of all that a run leaves; None without any."""
        names, pairs = self.secret_names | self.concealed_names, any(step.kind.conceals for step in self.steps)
        if not names and not pairs:
            return None
        inside = {each.id for step in self.steps if step.kind.conceals for each in every_step(step.children)}
        own = dict.fromkeys(inside, frozenset({TEXTS}))
        own |= {
            step.id: step.telling(names) | own.get(step.id, frozenset()) for step in self.steps if step.uses & names
        }
        own |= {step.id: frozenset({ALL}) for step in self.steps if not self.concealed_names.isdisjoint(step.saves)}
        inner = {step.id: told for step in self.steps if step.parts and (told := self._told_by_inner(step, own))}
        steps = own | {id_: told | own.get(id_, frozenset()) for id_, told in inner.items()}
        written = [text for step in self.steps for node in step.concealed for text in _texts(node)]
        return Secrets([*(str(self.values[name]) for name in sorted(self.secret_names)), *written], steps, pairs=pairs)

    def _told_by_inner(self, step: StepPlan, telling: Mapping[str, frozenset[str]]) -> frozenset[str]:
        """The readings of a composite step that are those of steps in it which may tell a secret."""
        readings, ids = InnerReadings(step), {each.name: each.id for each in every_step(step.children)}
        found = ((name, readings.find(name)) for name in step.named)
        return frozenset(
            name
            for name, inner in found
            if inner and {ALL, TEXTS, inner.reading.partition(".")[0]} & telling.get(ids[inner.step], frozenset())
        )

    @property
    def writes(self) -> bool:
        return any(step.kind.writes for step in self.steps)
