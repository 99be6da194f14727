"""What is known of the device: its attributes as it told them, and what it let read before anything bad was sent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from benchrig.requests.request import Request, Send, Storm, Together
from benchrig.values.channels import ATT


@dataclass(frozen=True)
class Attribute:
    """One that the device has. `writes` and `commands` say whether it takes them; None: nothing tells it (descriptors).
    `value` is what was read, None for nothing, and `error` the ATT error then; a `steady` one was the same twice."""

    handle: int
    name: str
    reads: bool = True
    writes: bool | None = False
    commands: bool = False
    value: bytes | None = None
    error: int = 0
    steady: bool = True
    # whether nothing but a bad request could change it, though it takes no write
    is_constant: bool = False
    # of a client characteristic configuration the bits that may be set, 0 for everything else
    updates: int = 0
    is_declaration: bool = False

    @property
    def is_cccd(self) -> bool:
        return self.updates != 0


@dataclass(frozen=True)
class Target:
    """The device. Nothing names a `protected` handle; values are written to `writable` ones alone."""

    attributes: Mapping[int, Attribute]
    mtu: int
    protected: frozenset[int] = frozenset()
    writable: frozenset[int] = frozenset()
    # handles that it does not have
    missing: tuple[int, ...] = field(default=(0xFFFF,))

    @classmethod
    def of(
        cls,
        attributes: Iterable[Attribute],
        mtu: int,
        protected: Iterable[int] = (),
        writable: Iterable[int] = (),
    ) -> Target:
        found = {each.handle: each for each in attributes}
        last = max(found, default=0)
        missing = tuple(dict.fromkeys(handle for handle in (last + 1, 0xFFFE, 0xFFFF) if handle not in found))
        return cls(found, mtu, frozenset(protected), frozenset(writable), missing)

    @cached_property
    def open(self) -> list[Attribute]:
        """All that a request may name."""
        return [each for each in self.attributes.values() if each.handle not in self.protected]

    @cached_property
    def readable(self) -> list[Attribute]:
        """Those whose value is known."""
        return [each for each in self.open if each.reads and each.value is not None and not each.is_declaration]

    @cached_property
    def written(self) -> list[Attribute]:
        """Those to which the plan lets values be written."""
        return [each for each in self.open if each.handle in self.writable and each.writes]

    @cached_property
    def commanded(self) -> list[Attribute]:
        return [each for each in self.open if each.handle in self.writable and each.commands]

    @cached_property
    def closed(self) -> list[Attribute]:
        """Those that take no writes: one is to be refused, and the value that is there harms nothing."""
        return [each for each in self.readable if each.writes is False and not each.commands and not each.is_cccd]

    @cached_property
    def configurations(self) -> list[Attribute]:
        return [each for each in self.open if each.is_cccd]

    @property
    def most_octets(self) -> int:
        """Of a value in one write."""
        return self.mtu - 3

    def misfit(self, request: Request) -> str:
        """What a request would do that the plan does not let it, '' for nothing."""
        parts = request.parts if isinstance(request, Together) else (request,)
        return next(filter(None, map(self._misfit, parts)), "")

    def _misfit(self, request: Request) -> str:
        handle = request.handle if isinstance(request, Storm) else _handle_of(request)
        attribute = self.attributes.get(handle)
        if handle in self.protected:
            return f"it names {self.attributes[handle].name}, which is protected"
        if attribute is None or attribute.updates or not isinstance(request, Send) or handle in self.writable:
            return ""
        changes = request.octets[0] in _WRITES and (attribute.writes is not False or attribute.commands)
        return f"it writes {attribute.name}, which writes: does not name" if changes else ""


_READS, _WRITES = (0x0A, 0x0C), (0x12, 0x16, 0x52, 0xD2)


def _handle_of(request: Request) -> int:
    """The one that an ATT request names, 0 for none."""
    if not isinstance(request, Send) or request.channel != ATT or len(request.octets) < 3:
        return 0
    return int.from_bytes(request.octets[1:3], "little") if request.octets[0] in (*_READS, *_WRITES) else 0
