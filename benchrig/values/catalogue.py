"""Assigned numbers by name: services, characteristics and descriptors, their formats, units and ATT errors.

Names are in lower case with spaces: 'heart rate measurement'. A UUID is 128-bit text in lower case.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache

from benchrig.errors import MalformedValue
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Node, Scalar
from benchrig.values.assigned import assigned, uuids
from benchrig.values.format import Format, FormatSpec, build_format, spec_of
from benchrig.values.numbers import IntegerFormat
from benchrig.values.spec import Exact
from benchrig.values.structs import Field, ListFormat, StructFormat

_KINDS = ("service", "characteristic", "descriptor")

_BASE = "-0000-1000-8000-00805f9b34fb"
_SHORT = re.compile(r"(?:0[xX])?([0-9A-Fa-f]{4}|[0-9A-Fa-f]{8})")
_LONG = re.compile(r"[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")
_PARTS = (8, 4, 4, 4, 12)
_MOST_OF_A_UUID = 20


def services() -> dict[str, int]:
    """Names and 16-bit UUIDs of the adopted services, further names included."""
    return dict(uuids("service"))


def characteristics() -> dict[str, int]:
    return dict(uuids("characteristic"))


def descriptors() -> dict[str, int]:
    return dict(uuids("descriptor"))


def names(kind: str) -> list[str]:
    """All names of one kind ('service', 'characteristic', 'descriptor')."""
    return list(uuids(kind))


def uuid_of(name: str, kind: str | None = None) -> str | None:
    """The UUID with this name, of one kind or of the first kind that has it: characteristic, descriptor, service.
    A service may have 'service' after its name. None for an unknown name."""
    wanted = " ".join(name.lower().split())
    for one in (kind,) if kind else ("characteristic", "descriptor", "service"):
        number = uuids(one).get(wanted)
        if number is None and one == "service":
            number = uuids(one).get(wanted.removesuffix(" service"))
        if number is not None:
            return long_uuid(number)
    return None


def name_of(uuid: str | int, kind: str | None = None) -> str | None:
    """The assigned name of a UUID, None when it has none."""
    number = _short_number(uuid)
    numbers = assigned()
    tables = {
        "service": numbers.services,
        "characteristic": numbers.characteristics,
        "descriptor": numbers.descriptors,
    }
    for one in (kind,) if kind else _KINDS:
        if number is not None and f"{number:04X}" in tables[one]:
            return tables[one][f"{number:04X}"]
    return None


def normal_uuid(text: str) -> str:
    """A UUID of 16, 32 or 128 bits as 128-bit lower-case text. Raises Misfit."""
    if match := _SHORT.fullmatch(text):
        return match[1].lower().zfill(8) + _BASE
    if _LONG.fullmatch(text):
        return text.lower()
    example = "for example: 2A6E, 0x2A6E or 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
    raise Misfit(f"'{text}' is not a UUID", miscounted(text) or example)


def miscounted(text: str) -> str:
    """Advice for what would be a long UUID but for the number of its digits; '' for anything else."""
    parts = text.split("-")
    long = len(parts) > 1 and sum(map(len, parts)) > _MOST_OF_A_UUID
    if _LONG.fullmatch(text) or not long or not all(re.fullmatch("[0-9A-Fa-f]+", part) for part in parts):
        return ""
    if len(parts) != len(_PARTS):
        return f"write parts of 8-4-4-4-12 digits, here {'-'.join(str(len(part)) for part in parts)}"
    wrong = [f"'{part}' has {len(part)}" for part, due in zip(parts, _PARTS, strict=True) if len(part) != due]
    return f"write parts of 8-4-4-4-12 digits; {', '.join(wrong)}"


def decimal_uuid(node: Node) -> Misfit | None:
    """What is wrong with a UUID that is written as a bare decimal number; None for anything else."""
    if isinstance(node, Scalar) and isinstance(node.value, int) and node.text.isdecimal() and not node.quoted:
        said = f"write 0x{node.text} or '{node.text}'"
        if node.final:  # of Python, where 0x2A19 has become 10777
            said = f"write it as text: '0x{node.value:04X}' is the same number"
        return Misfit(f"the UUID {node.text} is written as a decimal number", said)
    return None


def short_uuid(uuid: str) -> str:
    """The shortest way to write a UUID: '2A6E' on the Bluetooth base, else 128-bit lower-case text."""
    normal = normal_uuid(uuid)
    if not normal.endswith(_BASE):
        return normal
    return normal[:8].upper().removeprefix("0000")


def definition(uuid: str | int) -> Format | None:
    """The format of an assigned characteristic or descriptor, None when the catalogue has none."""
    number = _short_number(uuid)
    return None if number is None else _definition(number)


@cache
def _definition(number: int) -> Format | None:
    spec = spec_of(number)
    return None if spec is None else build_format(spec)


def valid_range_format(of: Format) -> Format:
    """The format of a Valid Range descriptor (0x2906): both ends in the format of its characteristic."""
    return StructFormat([Field("lower", of), Field("upper", of)])


def unit_symbol(uuid16: int) -> str | None:
    """The symbol of a unit by its assigned number, '' for unitless, None for a unit without a symbol here."""
    return assigned().units.get(f"{uuid16:04X}")


def att_error_name(code: int) -> str:
    """The name of an ATT error code; application errors and reserved codes are named as such."""
    name = assigned().att_errors.get(f"{code:02X}")
    if name is None:
        name = f"application error 0x{code:02x}" if 0x80 <= code <= 0x9F else f"reserved error 0x{code:02x}"
    return name


def att_error_code(name: str) -> int:
    """The code of an ATT error, by its name or as '0x80'. Raises Misfit."""
    wanted = " ".join(name.lower().split())
    codes = {known: int(code, 16) for code, known in assigned().att_errors.items()}
    if wanted in codes:
        return codes[wanted]
    match = re.fullmatch(r"(?:(?:application|reserved) error )?0x([0-9a-f]{1,2})", wanted)
    if match and int(match[1], 16):
        return int(match[1], 16)
    advice = suggest(wanted, codes) or "write an assigned name or a code such as 0x80"
    raise Misfit(f"unknown ATT error '{name}'", advice)


def format_from_presentation(data: bytes) -> Format:
    """The format that a Characteristic Presentation Format descriptor (0x2904) describes. The exponent counts for
    integers from 8 bits on; a unit without a symbol here is left out. Raises MalformedValue."""
    if len(data) != 7:
        raise MalformedValue(f"a presentation format has 7 bytes, found {len(data)}")
    name = assigned().presentation_formats.get(f"{data[0]:02X}")
    if name is None:
        raise MalformedValue(f"the presentation format 0x{data[0]:02X} is reserved")
    if name == "uint16[2]":
        return ListFormat(IntegerFormat(16), count=2)
    has_unit = "int" in name or "float" in name
    has_scale = "int" in name and name not in ("uint2", "uint4")
    unit = unit_symbol(int.from_bytes(data[2:4], "little")) if has_unit else None
    scale = Exact(Fraction(10) ** int.from_bytes(data[1:2], "little", signed=True)) if has_scale else None
    return build_format(FormatSpec(as_=name, unit=unit, scale=scale))


def _short_number(uuid: str | int) -> int | None:
    """The 16-bit number of a UUID on the Bluetooth base, else None."""
    if isinstance(uuid, int):
        return uuid
    short = short_uuid(uuid)
    return int(short, 16) if len(short) == 4 else None


def long_uuid(number: int) -> str:
    """The 128-bit text of a UUID on the Bluetooth base."""
    return f"{number:08x}{_BASE}"
