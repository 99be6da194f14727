"""The single values of a device file that are no plain text or number."""

from __future__ import annotations

import hashlib
import re
from typing import Any, ClassVar, Self

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, Reader, describe_value, octets
from benchrig.source.yaml import Node
from benchrig.values.catalogue import att_error_code, decimal_uuid, miscounted, names, normal_uuid, uuid_of
from benchrig.values.quantity import Duration

_ADDRESS = re.compile(r"[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}")


class Hex(bytes):
    """Octets as hex text in quotes: '01 02', '0102', '01:02'."""

    @classmethod
    def from_source(cls, value: Any) -> Self:
        return cls(octets(re.sub("[:-]", " ", value) if isinstance(value, str) else value))


class AddressText(str):
    """A device address, upper case: 'C0:11:22:33:44:55'."""

    __slots__ = ()

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if isinstance(value, str) and _ADDRESS.fullmatch(value):
            return cls(value.upper())
        raise Misfit(
            f"expected an address, found {describe_value(value)}", "for example: 'C0:11:22:33:44:55', in quotes"
        )

    @classmethod
    def made_from(cls, text: str) -> Self:
        """A static random address (top bits 11) that depends on the text alone."""
        octets = bytearray(hashlib.sha256(text.encode()).digest()[:6])
        octets[0] |= 0xC0
        return cls(":".join(f"{octet:02X}" for octet in octets))

    @property
    def top_bits(self) -> int:
        return int(self[:2], 16) >> 6


class AttErrorCode(int):
    """An ATT error by its name or number: write not permitted, '0x80', 0x80."""

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if isinstance(value, int) and not isinstance(value, bool) and 0 < value < 256:
            return cls(value)
        if isinstance(value, str):
            return cls(att_error_code(value))
        raise Misfit(
            f"expected an ATT error, found {describe_value(value)}", "for example: write not permitted, or 0x80"
        )


class SleepTime(float):
    """Seconds without advertising: '30 s', or 'for good', which ends when the device starts again."""

    FOR_GOOD: ClassVar[str] = "for good"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if value == cls.FOR_GOOD:
            return cls("inf")
        try:
            return cls(Duration.from_source(value).seconds)
        except Misfit as misfit:
            advice = f"{misfit.advice}, or {cls.FOR_GOOD}" if misfit.advice else f"or write {cls.FOR_GOOD}"
            raise Misfit(misfit.message, advice) from misfit


class HowMany(float):
    """A number from 0 on, or `all`."""

    ALL: ClassVar[str] = "all"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if value == cls.ALL:
            return cls("inf")
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return cls(value)
        raise Misfit(f"expected a number from 0 on, or {cls.ALL}; found {describe_value(value)}", "for example: 1")


class _Uuid(str):
    """A UUID as 128-bit text, from an assigned name of this kind, or from any UUID."""

    __slots__ = ("written",)
    kind: ClassVar[str]
    written: str

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        misfit = decimal_uuid(node)
        return reader.misfit(node, misfit) if misfit else reader.read_own(node, cls)

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 0xFFFF:
            value = f"{value:04X}"
        if not isinstance(value, str):
            raise Misfit(f"expected a {cls.kind}, found {describe_value(value)}", "write an assigned name or a UUID")
        uuid = uuid_of(value, cls.kind)
        if uuid is None:
            try:
                uuid = normal_uuid(value)
            except Misfit:
                near = miscounted(value) or suggest(value.lower(), names(cls.kind))
                advice = near or "write an assigned name or a UUID"
                raise Misfit(f"unknown {cls.kind} '{value}'", advice) from None
        made = cls(uuid)
        made.written = value
        return made


class ServiceUuid(_Uuid):
    __slots__ = ()
    kind = "service"


class CharacteristicUuid(_Uuid):
    __slots__ = ()
    kind = "characteristic"


class DescriptorUuid(_Uuid):
    __slots__ = ()
    kind = "descriptor"
