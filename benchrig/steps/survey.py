"""What a device was like before anything bad was sent to it, and whether it is still so."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from benchrig.errors import AttError, DeviceError, LinkLost
from benchrig.radio.offers import CCCD
from benchrig.radio.table import Characteristic, Descriptor
from benchrig.requests.request import Send
from benchrig.requests.right import shown
from benchrig.requests.table import Attribute, Target
from benchrig.values.catalogue import att_error_name, long_uuid

if TYPE_CHECKING:
    from benchrig.radio.table import Found
    from benchrig.steps.bench import Bench

_READS_WITHIN = 10.0
# Seconds in which a clock goes on.
_CLOCK = 2.5
# Name and appearance, what the device information service tells (Core Specification Supplement; Core Vol 3 Part C 12).
_CONSTANT = {long_uuid(number) for number in (0x2A00, 0x2A01, *range(0x2A23, 0x2A2B), 0x2A50)}
_HEADER = 3
_WRITE, _COMMAND = 0x12, 0x52
NOTIFY, INDICATE = 1, 2  # bits of a CCCD


class Survey:
    """Of the attributes that may be touched; `looked` before `target` is there."""

    target: Target

    def __init__(self, protected: Collection[int], writable: Collection[int]) -> None:
        self._protected, self._writable = frozenset(protected), frozenset(writable)
        self._found: dict[int, Found] = {}
        # those of which it was told already that they are not as they were
        self._told: set[int] = set()
        # the writes of the value that is there and of the one that was, while the second is on its way; else nothing
        self.putting: list[Send] = []

    async def begin(self, bench: Bench) -> None:
        """Read what is there, twice, so far apart that a clock has gone on: what changes by itself is not held against the
        device."""
        link = bench.link
        outline = {handle: uuid for handle, uuid, _ in await link.outline(bench.time_left)}
        self._found = {found.attribute.handle: found for found in link.table.attributes()}
        known = [await self._attribute(bench, found) for found in self._found.values()]
        if any(map(self._is_compared, known)):
            await bench.pause(min(_CLOCK, bench.time_left / 4))
            known = [await self._steadied(bench, one) for one in known]
        declared = [
            Attribute(handle, f"handle 0x{handle:04X}", is_declaration=True)
            for handle in outline.keys() - self._found.keys()
        ]
        mtu = await link.settled_payload() + _HEADER
        self.target = Target.of([*declared, *known], mtu, self._protected, self._writable)

    async def _attribute(self, bench: Bench, found: Found) -> Attribute:
        one, name = found.attribute, bench.names.label(found.attribute.uuid)
        if isinstance(one, Descriptor):
            updates = _updates(found) if one.uuid == CCCD else 0
            value, error = await self._value(bench, found)
            return Attribute(
                one.handle, name, writes=True if updates else None, value=value, error=error, updates=updates
            )
        reads = "read" in one.properties
        value, error = await self._value(bench, found) if reads else (None, 0)
        return Attribute(
            one.handle,
            name,
            reads=reads,
            writes="write" in one.properties,
            commands="write without response" in one.properties,
            value=value,
            error=error,
            is_constant=one.uuid in _CONSTANT,
        )

    async def _steadied(self, bench: Bench, one: Attribute) -> Attribute:
        if one.value is None or one.is_cccd or one.is_declaration:
            return one
        again, _ = await self._value(bench, self._found[one.handle])
        return replace(one, steady=again == one.value)

    async def _value(self, bench: Bench, found: Found) -> tuple[bytes | None, int]:
        """What it reads, or the ATT error that it answers; nothing is read of what is protected."""
        one = found.attribute
        if one.handle in self._protected:
            return None, 0
        try:
            return await bench.link.read(one, f"read handle 0x{one.handle:04X}", min(_READS_WITHIN, bench.time_left)), 0
        except AttError as error:
            return None, error.code

    @property
    def kept(self) -> Iterator[Attribute]:
        """Those whose value bad requests alone could have changed."""
        yield from filter(self._is_compared, self.target.readable)

    @staticmethod
    def _is_compared(one: Attribute) -> bool:
        changes = one.writes or one.commands or one.is_constant
        return one.value is not None and one.steady and bool(changes) and not one.is_cccd

    async def look(self, bench: Bench) -> list[str]:
        """What is not as it was, in sentences; a value that the plan lets change is put back. LinkLost, NoAnswer."""
        wrong = []
        for one in self.kept:
            if one.handle not in self._told and (sentence := await self._difference(bench, one)):
                self._told.add(one.handle)
                wrong.append(sentence)
        return wrong

    async def read(self, bench: Bench) -> None:
        """The same reads, and nothing more."""
        for one in self.kept:
            await self._value(bench, self._found[one.handle])

    async def _difference(self, bench: Bench, one: Attribute) -> str:
        now, error = await self._value(bench, self._found[one.handle])
        if error:
            return f"{one.name} cannot be read any more ({att_error_name(error)})"
        if now == one.value:
            return ""
        if one.handle in self.target.writable:
            return await self._put_back(bench, one, now or b"")
        return f"{one.name} has changed from {shown(one.value or b'')} to {shown(now or b'')}"

    async def _put_back(self, bench: Bench, one: Attribute, now: bytes) -> str:
        """What keeps its value from being what it was; '' for nothing."""
        link, attribute = bench.link, self._found[one.handle].attribute
        doing, value = f"put back {one.name}", one.value or b""
        self.putting = [self._write(one, each) for each in (now, value) if len(each) <= self.target.mtu - _HEADER]
        try:
            await link.write(attribute, value, doing, min(_READS_WITHIN, bench.time_left), response=bool(one.writes))
        except AttError as error:
            self.putting = []
            return f"{one.name} does not take its own value any more ({error.name})"
        back, _ = await self._value(bench, self._found[one.handle])
        self.putting = []
        return "" if back == value else f"{one.name} did not keep its own value, which was written back"

    @staticmethod
    def _write(one: Attribute, value: bytes) -> Send:
        return Send(bytes((_WRITE if one.writes else _COMMAND,)) + one.handle.to_bytes(2, "little") + value)

    async def restore(self, bench: Bench) -> bool:
        """Put back what the plan let change; False where that fails: it may on a device that is dying."""
        if not bench.device.is_up:
            return False
        try:
            await self.look(bench)
        except (DeviceError, LinkLost) as error:
            bench.note(f"not put back: {error.message}")
            return False
        return True


def _updates(found: Found) -> int:
    characteristic = found.chain[-2]
    properties = characteristic.properties if isinstance(characteristic, Characteristic) else ()
    return NOTIFY * ("notify" in properties) | INDICATE * ("indicate" in properties)
