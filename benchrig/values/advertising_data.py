"""What the data of an advertising structure say, by their type (Core Specification Supplement, Part A)."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any, NamedTuple

import msgspec

from benchrig.values import catalogue
from benchrig.values.address import address_text
from benchrig.values.base import count_bytes
from benchrig.values.quantity import as_number, number_text

_BASE_UUID = "-0000-1000-8000-00805f9b34fb"

_FLAGS = ("limited discoverable", "general discoverable", "BR/EDR not supported",
          "BR/EDR and LE at once (controller)", "BR/EDR and LE at once (host)")  # fmt: skip
_OOB_FLAGS = ("OOB data present", "LE supported (host)", "BR/EDR and LE at once (host)", "random address")
_ROLES = ("peripheral only", "central only", "peripheral preferred", "central preferred")


class Reading(NamedTuple):
    """`value` is JSON data, `text` is for people, `wrong` says what does not fit."""

    value: Any
    text: str
    wrong: str = ""


class _Numbers(msgspec.Struct, frozen=True):
    """The data file as it is: types and schemes by two hex digits, categories of appearances by three."""

    sources: list[str]
    types: dict[str, str]
    appearances: dict[str, dict[str, str]]
    uri_schemes: dict[str, str]


@cache
def _numbers() -> _Numbers:
    data = resources.files("benchrig.values").joinpath("advertising.json").read_bytes()
    return msgspec.json.decode(data, type=_Numbers)


def type_name(kind: int) -> str | None:
    """The assigned name of a type of advertising data, in lower case; None for one that is not assigned."""
    return _numbers().types.get(f"{kind:02X}")


def appearance_name(code: int) -> str | None:
    """What an appearance stands for, 'heart rate sensor: heart rate belt'; None when it is not assigned."""
    category = _numbers().appearances.get(f"{code >> 6:03X}", {})
    name = category.get(f"{code & 0x3F:02X}")
    return name if name is None or not code & 0x3F else f"{category['00']}: {name}"


def uuid_text(octets: bytes) -> str:
    """2, 4 or 16 octets in air order as 128-bit text."""
    digits = octets[::-1].hex()
    if len(octets) == 16:
        return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))
    return digits.rjust(8, "0") + _BASE_UUID


def read_data(kind: int, data: bytes) -> Reading:
    """What the data of this type say. Never raises."""
    read = _READERS.get(kind, _octets)
    sizes = _SIZES.get(kind)
    if sizes and len(data) not in sizes:
        due = f"{sizes[0]} or {count_bytes(sizes[1])}" if len(sizes) > 1 else count_bytes(sizes[0])
        return Reading(None, _hex(data), f"expected {due}, found {len(data)}")
    return read(data)


def _octets(data: bytes) -> Reading:
    return Reading(data.hex().upper(), _hex(data))


def _flags(data: bytes) -> Reading:
    if not data:
        return Reading(None, "", "expected at least 1 byte, found none")
    return _words(data, _FLAGS)


def _words(data: bytes, words: tuple[str, ...]) -> Reading:
    bits = int.from_bytes(data, "little")
    said = [word for bit, word in enumerate(words) if bits >> bit & 1]
    reserved = bits >> len(words) << len(words)
    return Reading(said, ", ".join(said) or "none set", f"reserved bits are set: 0x{reserved:02X}" if reserved else "")


def _uuids(size: int) -> Callable[[bytes], Reading]:
    def read(data: bytes) -> Reading:
        if len(data) % size:
            return Reading(None, _hex(data), f"{count_bytes(len(data))} cannot be a list of UUIDs of {size} bytes")
        uuids = [uuid_text(data[at : at + size]) for at in range(0, len(data), size)]
        return Reading(uuids, ", ".join(map(_service, uuids)) or "none")

    return read


def _service(uuid: str) -> str:
    name, short = catalogue.name_of(uuid, "service"), catalogue.short_uuid(uuid)
    return f"{name} ({short})" if name else short


def _service_data(size: int) -> Callable[[bytes], Reading]:
    def read(data: bytes) -> Reading:
        if len(data) < size:
            return Reading(None, _hex(data), f"expected a UUID of {size} bytes, found {len(data)}")
        uuid, rest = uuid_text(data[:size]), data[size:]
        return Reading({"service": uuid, "data": rest.hex().upper()}, f"{_service(uuid)}: {_hex(rest)}")

    return read


def _manufacturer_data(data: bytes) -> Reading:
    if len(data) < 2:
        return Reading(None, _hex(data), f"expected a company identifier of 2 bytes, found {len(data)}")
    company, rest = f"{int.from_bytes(data[:2], 'little'):04X}", data[2:]
    return Reading({"company": company, "data": rest.hex().upper()}, f"company 0x{company}: {_hex(rest)}")


def _text(data: bytes) -> Reading:
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        text = data.decode("utf-8", "replace")
        return Reading(text, text, f"not UTF-8 text from byte {error.start} of the data on")
    return Reading(text, text)


def _tx_power(data: bytes) -> Reading:
    level = int.from_bytes(data, "little", signed=True)
    return Reading(level, f"{level} dBm", "a level of -128 dBm is reserved" if level == -128 else "")


def _class_of_device(data: bytes) -> Reading:
    number = int.from_bytes(data, "little")
    return Reading(number, f"0x{number:06X}")


def _appearance(data: bytes) -> Reading:
    code = int.from_bytes(data, "little")
    name = appearance_name(code)
    return Reading({"code": code, "name": name}, f"{name or 'not assigned'} (0x{code:04X})")


def _interval_range(data: bytes) -> Reading:
    """Steps of 1.25 ms, 7.5 ms to 4 s; 0xFFFF leaves an end open."""
    ends = [int.from_bytes(data[at : at + 2], "little") for at in (0, 2)]
    least, most = (None if end == 0xFFFF else as_number(end * Fraction(5, 4)) for end in ends)
    bad = [end for end in ends if not (6 <= end <= 3200 or end == 0xFFFF)]
    wrong = f"0x{bad[0]:04X} is reserved: 7.5 ms to 4 s are legal" if bad else ""
    if not bad and 0xFFFF not in ends and ends[0] > ends[1]:
        wrong = "the shortest interval is longer than the longest"
    return Reading({"min": least, "max": most, "unit": "ms"}, f"{_ms(least)} to {_ms(most)}", wrong)


def _ms(number: int | float | None) -> str:
    return "any" if number is None else f"{number_text(number)} ms"


def _advertising_interval(data: bytes) -> Reading:
    """Steps of 0.625 ms."""
    number = as_number(int.from_bytes(data, "little") * Fraction(5, 8))
    return Reading({"interval": number, "unit": "ms"}, _ms(number))


def _addresses(data: bytes) -> Reading:
    if len(data) % 6 or not data:
        return Reading(None, _hex(data), f"{count_bytes(len(data))} cannot be a list of addresses of 6 bytes")
    listed = [address_text(data[at : at + 6]) for at in range(0, len(data), 6)]
    return Reading(listed, ", ".join(listed))


def _device_address(data: bytes) -> Reading:
    kind = "random" if data[6] & 1 else "public"
    wrong = f"reserved bits are set: 0x{data[6] & 0xFE:02X}" if data[6] & 0xFE else ""
    address = address_text(data[:6])
    return Reading({"address": address, "kind": kind}, f"{address} ({kind})", wrong)


def _role(data: bytes) -> Reading:
    if data[0] < len(_ROLES):
        return Reading(_ROLES[data[0]], _ROLES[data[0]])
    return Reading(None, _hex(data), f"the role 0x{data[0]:02X} is reserved")


def _uri(data: bytes) -> Reading:
    """The first character stands for the scheme."""
    value, text, wrong = _text(data)
    if not text:
        return Reading(None, "", "expected a scheme, found nothing")
    scheme = _numbers().uri_schemes.get(f"{ord(text[0]):02X}")
    if wrong or scheme is None:
        return Reading(value, text, wrong)
    return Reading(scheme + text[1:], scheme + text[1:])


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()


_READERS: dict[int, Callable[[bytes], Reading]] = {
    0x01: _flags,
    0x02: _uuids(2), 0x03: _uuids(2), 0x04: _uuids(4), 0x05: _uuids(4), 0x06: _uuids(16), 0x07: _uuids(16),
    0x08: _text, 0x09: _text,
    0x0A: _tx_power,
    0x0D: _class_of_device,
    0x11: lambda data: _words(data, _OOB_FLAGS),
    0x12: _interval_range,
    0x14: _uuids(2), 0x15: _uuids(16), 0x1F: _uuids(4),
    0x16: _service_data(2), 0x20: _service_data(4), 0x21: _service_data(16),
    0x17: _addresses, 0x18: _addresses,
    0x19: _appearance,
    0x1A: _advertising_interval, 0x2F: _advertising_interval,
    0x1B: _device_address,
    0x1C: _role,
    0x24: _uri,
    0x30: _text,
    0xFF: _manufacturer_data,
}  # fmt: skip
# Octets of the data, for the types that have a fixed number of them.
_SIZES: dict[int, tuple[int, ...]] = {
    0x0A: (1,), 0x0D: (3,), 0x0E: (16,), 0x0F: (16,), 0x10: (8, 16), 0x11: (1,), 0x12: (4,), 0x19: (2,), 0x1A: (2,),
    0x1B: (7,), 0x1C: (1,), 0x1D: (16,), 0x1E: (16,), 0x22: (16,), 0x23: (16,), 0x2D: (16,), 0x2E: (6,), 0x2F: (3, 4),
}  # fmt: skip
