"""The services of a device file.

services:
  - service: environmental sensing        an assigned name or a UUID
    characteristics:
      - characteristic: temperature       an assigned name or a UUID
        name: inner temperature           what effects call it by; default: what stands above
        as: sint16                        format keys; default: the catalogue's format
        properties: [read, notify]
        value: 21.5 °C                    or a generator, see value_reading
        raw: '29 09'                      instead of value: octets as they are
        notify: {period: 1 s, jitter: 20 ms, count: 100, drop_every: 10}
        descriptors: [{descriptor: characteristic user description, value: Inside}]
        on_read: {delay: 50 ms, att_error: insufficient authentication}   all that behaviours.py has for reads
        on_notify: {sometimes: [{share: 1 %, silent: true}]}              for what it sends
        on_write: {check: true, store: true, set: {…}, cases: […]}         and for writes; see reaction_spec
        distorted: {how: swapped bytes}   what is wrong with all values on their way out, see distortion_spec
        volatile: true                    a reboot puts the value back to what stands above
        read_needs: authenticated         what the link needs, see needs_spec; subscribe_needs for notifications
        encrypted: true                   the same as read_needs and write_needs: encrypted
        cccd: false                       leaves out the descriptor that subscribing needs; it may stand among the
                                          descriptors then
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.access_rules import Needs
from benchrig.radio.virtual.distortion_spec import DistortionSpec
from benchrig.radio.virtual.needs_spec import Need, Needing
from benchrig.radio.virtual.reaction_spec import ReadSpec, SendSpec, WriteSpec
from benchrig.radio.virtual.sources import Source, octets
from benchrig.radio.virtual.value_reading import source_of
from benchrig.radio.virtual.words import CharacteristicUuid, DescriptorUuid, Hex, ServiceUuid
from benchrig.source.shape import Misfit
from benchrig.values.base import Format
from benchrig.values.catalogue import definition, valid_range_format
from benchrig.values.format import FormatSpec
from benchrig.values.quantity import Duration

Property = Literal[
    "broadcast",
    "read",
    "write without response",
    "write",
    "notify",
    "indicate",
    "signed write",
    "extended properties",
]
HiddenProperty = Literal["read", "write without response", "write"]
PROPERTIES = {
    "broadcast": 0x01,
    "read": 0x02,
    "write without response": 0x04,
    "write": 0x08,
    "notify": 0x10,
    "indicate": 0x20,
    "signed write": 0x40,
    "extended properties": 0x80,
}
LONGEST_VALUE = 512  # octets of an attribute (Core Vol 3 Part F 3.2.9)
CCCD, VALID_RANGE = "00002902-0000-1000-8000-00805f9b34fb", "00002906-0000-1000-8000-00805f9b34fb"
UPDATES = PROPERTIES["notify"] | PROPERTIES["indicate"]
WRITES = PROPERTIES["write"] | PROPERTIES["write without response"]


class NotifySpec(msgspec.Struct, kw_only=True, frozen=True):
    """Values while a central is subscribed. Faults: `burst` values wait and are sent together; `early`: from the beginning
    of a link, whether somebody has subscribed or not; `goes_on`: to its end, once somebody has."""

    direct: ClassVar[str] = "period"

    period: Duration
    jitter: Duration = Duration.of(0)
    count: int | None = None
    drop_every: int | None = None
    burst: int = 1
    early: bool = False
    goes_on: bool = False

    def misfits(self) -> Iterable[Misfit]:
        if self.period.seconds <= 0:
            yield Misfit("a period is longer than nothing", path=("period",))
        if self.count is not None and self.count < 1:
            yield Misfit("at least one value", "leave 'count' out for no end", ("count",))
        if self.drop_every is not None and self.drop_every < 1:
            yield Misfit(f"expected a number from 1 on, found {self.drop_every}", path=("drop_every",))
        if self.burst < 1:
            yield Misfit(f"expected a number from 1 on, found {self.burst}", path=("burst",))
        if self.count is not None and self.count % self.burst:
            yield Misfit("the values of 'count' make no whole bursts", "take a multiple of 'burst'", ("count",))


class DescriptorSpec(msgspec.Struct, Needing, kw_only=True, frozen=True):
    """A descriptor with a value that does not change on its own."""

    descriptor: DescriptorUuid
    value: Any = None
    raw: Hex | None = None
    writable: bool = False
    read_needs: Need | None = None
    write_needs: Need | None = None
    key_size_needed: int | None = None
    authorized: bool = True

    def misfits(self) -> Iterable[Misfit]:
        yield from self.need_misfits({"read_needs": True, "write_needs": self.writable})

    def octets(self, of: Format | None) -> bytes:
        """The value. `of` is the format of the characteristic. Raises Misfit."""
        if self.raw is not None:
            return _first(bounded(octets(bytes(self.raw)), "raw"))
        uuid = str(self.descriptor)
        form = valid_range_format(of) if uuid == VALID_RANGE and of else definition(uuid)
        return _first(bounded(read_source(self.value, form, "value"), "value"))


class CharacteristicSpec(FormatSpec, Needing, kw_only=True, frozen=True, dict=True):
    """A characteristic; the keys of its format stand beside the others. What follows from them is made once."""

    characteristic: CharacteristicUuid
    properties: list[Property]
    name: str | None = None
    value: Any = None
    raw: Hex | None = None
    notify: NotifySpec | None = None
    descriptors: list[DescriptorSpec] = msgspec.field(default_factory=list)
    on_read: ReadSpec = ReadSpec()
    on_write: WriteSpec = WriteSpec()
    distorted: DistortionSpec | None = None
    on_notify: SendSpec = SendSpec()
    volatile: bool = False
    encrypted: bool = False
    read_needs: Need | None = None
    write_needs: Need | None = None
    subscribe_needs: Need | None = None
    key_size_needed: int | None = None
    authorized: bool = True
    cccd: bool = True
    hidden: list[HiddenProperty] = msgspec.field(default_factory=list)

    @property
    def called(self) -> str:
        return self.name or self.characteristic.written

    @cached_property
    def property_bits(self) -> int:
        return self.declared_bits | sum(PROPERTIES[name] for name in dict.fromkeys(self.hidden))

    @cached_property
    def declared_bits(self) -> int:
        """What the table tells of them."""
        return sum(PROPERTIES[name] for name in dict.fromkeys(self.properties))

    def misfits(self) -> Iterable[Misfit]:
        found = list(self._value_misfits())
        yield from found
        if self.notify and not self.property_bits & UPDATES:
            yield Misfit("'notify' needs the property notify or indicate", path=("notify",))
        if self.on_notify.behaviours and not self.property_bits & UPDATES:
            yield Misfit("'on_notify' needs the property notify or indicate", path=("on_notify",))
        if not found:
            yield from self._descriptor_misfits()
            yield from self._distortion_misfits()
        yield from self._need_misfits()

    def _need_misfits(self) -> Iterable[Misfit]:
        for key in ("read_needs", "write_needs"):
            if self.encrypted and getattr(self, key):
                yield Misfit(f"'encrypted' and '{key}' exclude each other", "keep the needs", (key,))
        able = {
            "read_needs": bool(self.property_bits & PROPERTIES["read"]),
            "write_needs": bool(self.property_bits & WRITES),
            "subscribe_needs": bool(self.property_bits & UPDATES) and self.cccd,
        }
        yield from self.need_misfits(able, has_need=self.encrypted)

    @property
    def _whole(self) -> Need | None:
        return "encrypted" if self.encrypted else None

    @property
    def reading(self) -> Needs:
        return self.needs(self._whole or self.read_needs)

    @property
    def writing(self) -> Needs:
        return self.needs(self._whole or self.write_needs)

    @property
    def subscribing(self) -> Needs:
        return self.needs(self.subscribe_needs)

    def _value_misfits(self) -> Iterable[Misfit]:
        try:
            _ = self.format
            if self.value is not None and self.raw is not None:
                raise Misfit("'value' and 'raw' exclude each other", "keep one of the two", ("raw",))
            _ = self.source
        except Misfit as misfit:
            yield misfit

    def _descriptor_misfits(self) -> Iterable[Misfit]:
        for index, descriptor in enumerate(self.descriptors):
            if str(descriptor.descriptor) == CCCD and self.cccd and self.property_bits & UPDATES:
                advice = "leave it out; with 'cccd: false' it comes from here alone"
                yield Misfit("this descriptor is added automatically", advice, ("descriptors", index, "descriptor"))
            try:
                descriptor.octets(self.format)
            except Misfit as misfit:
                yield Misfit(misfit.message, misfit.advice, ("descriptors", index, *misfit.path))

    def _distortion_misfits(self) -> Iterable[Misfit]:
        for misfit in self.distorted.misfits_of(self.format) if self.distorted else ():
            yield Misfit(misfit.message, misfit.advice, ("distorted", *misfit.path))

    @cached_property
    def format(self) -> Format | None:
        return self.built if self.given() else definition(str(self.characteristic))

    @cached_property
    def source(self) -> Source:
        """Where its values come from; each air takes a fresh one. Raises Misfit."""
        if self.raw is not None:
            return bounded(octets(bytes(self.raw)), "raw")
        if self.value is None and not self.property_bits & (PROPERTIES["read"] | UPDATES):
            return octets(b"")
        return bounded(read_source(self.value, self.format, "value"), "value")

    def longest(self) -> int:
        """Octets of the longest value that is known now."""
        form = self.source.format
        return max((len(form.encode(e) if form else e) for e in self.source.pattern.examples()), default=0)


class ServiceSpec(msgspec.Struct, kw_only=True, frozen=True):
    service: ServiceUuid
    characteristics: list[CharacteristicSpec] = []


def read_source(value: Any, form: Format | None, *path: str) -> Source:
    """The source of a value that is at this path. Raises Misfit."""
    if form is None:
        advice = "write 'as' with a format, or 'raw' with bytes"
        raise Misfit("a value needs a format, and none is known for this UUID", advice)
    if value is None:
        raise Misfit("the value is missing", f"write 'value' ({form.describe()}) or 'raw'")
    try:
        return source_of(value, form)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, (*path, *misfit.path)) from misfit


def bounded(source: Source, *path: str) -> Source:
    """The source, when its values have no more octets than an attribute holds. Raises Misfit at the path."""
    form = source.format
    for example in source.pattern.examples():
        size = len(form.encode(example) if form else example)
        if size > LONGEST_VALUE:
            raise Misfit(f"{size} bytes; an attribute holds at most {LONGEST_VALUE}", path=path)
    return source


def _first(source: Source) -> bytes:
    """The one value of a descriptor."""
    examples = source.pattern.examples()
    if source.format is None and len(examples) == 1:
        return bytes(examples[0])
    if source.format is None or len(examples) != 1:
        raise Misfit("a descriptor has one value", path=("value",))
    try:
        return source.format.encode(examples[0])
    except MalformedValue as exc:
        raise Misfit(exc.message, exc.advice, ("value",)) from exc
