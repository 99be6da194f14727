"""Which barcode is which product, and what its units are tested with."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, ClassVar

import msgspec

from benchrig.source.shape import Misfit, describe_value
from benchrig.values.pattern import Regex

_ADDRESS = re.compile(r"(?:[0-9A-F]{2}:){5}[0-9A-F]{2}")


class AddressText(str):
    """A device address, in capitals."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> AddressText:
        if not isinstance(value, str) or not _ADDRESS.fullmatch(value.upper()):
            raise Misfit(f"expected an address, found {describe_value(value)}", "for example: 'C4:1F:5A:20:00:00'")
        return cls(value.upper())


class AddressRange(msgspec.Struct, omit_defaults=True, frozen=True):
    """The addresses that were set aside for a product; both ends belong to it."""

    first: AddressText
    last: AddressText

    def misfits(self) -> Iterable[Misfit]:
        if self.first > self.last:
            yield Misfit(f"the first address {self.first} is behind the last one", "write them the other way round")

    def holds(self, address: str) -> bool:
        return self.first <= address.upper() <= self.last


class Product(msgspec.Struct, omit_defaults=True, frozen=True):
    """`barcode` is what the whole label must match; its named groups are values for the plan. `serial` and `address` among
    them say which unit it is. `blank` is the serial number that all units have before they are programmed: it says nothing."""

    barcode: Regex
    plan: str
    limits: str = ""
    given: dict[str, str] = {}
    addresses: AddressRange | None = None
    blank: str = ""

    def misfits(self) -> Iterable[Misfit]:
        if self.blank != self.blank.strip() or not self.blank.isprintable():
            yield Misfit(
                f"expected a serial number as a unit tells it, found {describe_value(self.blank)}",
                "write it without blanks around it",
                ("blank",),
            )
