"""An attribute with what each operation on it must need."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.radio.offers import CCCD
from benchrig.radio.security import SMALLEST_KEY
from benchrig.radio.table import Characteristic, Descriptor
from benchrig.values.access import Need, Operation

if TYPE_CHECKING:
    from benchrig.radio.table import Attribute, Found

_PROPERTIES: dict[Operation, tuple[str, ...]] = {
    "read": ("read",),
    "write": ("write", "reliable write"),
    "write without response": ("write without response",),
    "subscribe": ("notify", "indicate"),
}


@dataclass(frozen=True)
class Subject:
    """`needs` are those that are judged or named; `may_write` says whether it may be written, `second` is another value that
    it may have for a moment."""

    name: str
    found: Found
    needs: Mapping[Operation, Need] = field(default_factory=dict)
    may_write: bool = False
    second: bytes | None = None
    key_size: int = SMALLEST_KEY

    @property
    def attribute(self) -> Attribute:
        return self.found.attribute

    @property
    def handle(self) -> int:
        return self.found.attribute.handle


def offers(attribute: Attribute, operation: Operation) -> bool | None:
    """Whether its properties offer the operation; None where nothing in the table says it: of a descriptor that is written."""
    if isinstance(attribute, Descriptor):
        return {"read": True, "write": None}.get(operation, False)
    return bool({*_PROPERTIES[operation]} & {*attribute.properties})


def can_subscribe(attribute: Attribute) -> bool:
    """Whether there is something to turn on."""
    return isinstance(attribute, Characteristic) and any(each.uuid == CCCD for each in attribute.descriptors)


def is_switch(attribute: Attribute) -> bool:
    """A client characteristic configuration: written by subscribing, one for each link."""
    return isinstance(attribute, Descriptor) and attribute.uuid == CCCD
