"""CRCs by the names of the catalogue of parametrised CRC algorithms (reveng.sourceforge.io/crc-catalogue): those of whole
bytes. Each has the catalogue's check value, the CRC of '123456789'."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from typing import Any, ClassVar, Literal

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.judging import typed

_BYTE = tuple(int(f"{value:08b}"[::-1], 2) for value in range(256))  # each byte with its bits in reverse


@dataclass(frozen=True)
class Algorithm:
    """The parameters of a CRC; a `reflected` one takes the lowest bit of a byte first."""

    name: str
    size: int
    poly: int
    init: int
    reflected: bool
    xorout: int
    check: int

    def of(self, data: bytes) -> int:
        """The CRC of the data. All is done with the highest bit first; what is reflected is turned round for that."""
        bits, table = 8 * self.size, self._table
        mask, register = (1 << bits) - 1, self.init
        for byte in data.translate(bytes(_BYTE)) if self.reflected else data:
            register = (register << 8) & mask ^ table[register >> (bits - 8) ^ byte]
        return (_turned(register, bits) if self.reflected else register) ^ self.xorout

    @cached_property
    def _table(self) -> tuple[int, ...]:
        top = 1 << (8 * self.size - 1)
        return tuple(self._shifted(byte << (8 * self.size - 8), top) for byte in range(256))

    def _shifted(self, register: int, top: int) -> int:
        for _ in range(8):
            register = (register << 1) ^ (self.poly | top << 1) if register & top else register << 1
        return register


def _turned(value: int, bits: int) -> int:
    return int(f"{value:0{bits}b}"[::-1], 2)


@cache
def algorithms() -> dict[str, Algorithm]:
    """All by name."""
    data = json.loads(resources.files("benchrig.values").joinpath("crc.json").read_text("utf-8"))
    return {name: _algorithm(name, *row) for name, row in data["algorithms"].items()}


def _algorithm(name: str, poly: str, init: str, reflected: bool, xorout: str, check: str) -> Algorithm:
    size = int(name.removeprefix("CRC-").partition("/")[0]) // 8
    return Algorithm(name, size, int(poly, 16), int(init, 16), reflected, int(xorout, 16), int(check, 16))


class Crc:
    """The last bytes of a value are the CRC of those before: by name, or `{name: …, order: big}`."""

    __slots__ = ("algorithm", "order")
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "string"}, {"type": "object", "additionalProperties": False, "required": ["name"],
                  "properties": {"name": {"type": "string"}, "order": {"enum": ["little", "big"]}}}]
    }  # fmt: skip

    def __init__(self, algorithm: Algorithm, order: Literal["little", "big"] = "little") -> None:
        self.algorithm, self.order = algorithm, order

    @classmethod
    def from_source(cls, value: Any) -> Crc:
        parts = {"name": typed(value)} if isinstance(value, str) else value
        if not isinstance(parts, dict) or not {"name"} <= parts.keys() <= {"name", "order"}:
            raise Misfit(f"expected the name of a CRC, found {describe_value(value)}", _EXAMPLE)
        name, order = parts["name"], parts.get("order", "little")
        if not isinstance(name, str) or name not in algorithms():
            raise Misfit(f"unknown CRC '{name}'", suggest(str(name).upper(), algorithms()) or _EXAMPLE)
        if order not in ("little", "big"):
            raise Misfit(f"expected little or big, found {describe_value(order)}", _BIG, ("order",))
        return cls(algorithms()[name], order)

    @property
    def words(self) -> str:
        return self.algorithm.name + (", big-endian" if self.order == "big" else "")

    @property
    def size(self) -> int:
        return self.algorithm.size

    def of(self, data: bytes) -> bytes:
        """The CRC of the data, as it would come after it."""
        return self.algorithm.of(data).to_bytes(self.size, self.order)

    def fits(self, data: Any) -> bool:
        return bool(self.of(data[: -self.size]) == data[-self.size :]) if self._has_data(data) else False

    def misfit(self, data: Any, text: str) -> str:
        """What to say of data, shown as `text`, that does not fit."""
        if not self._has_data(data):
            return f"{text} has no data before {self.size} bytes of {self.algorithm.name}"
        due = self.of(data[: -self.size])
        turned = " (they are in the other order)" if due[::-1] == data[-self.size :] else ""
        return f"{text} ends with {_hex(data[-self.size :])}, its {self.words} is {_hex(due)}{turned}"

    def _has_data(self, data: Any) -> bool:
        return isinstance(data, (bytes, bytearray)) and len(data) > self.size


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()


_BIG = "write order: big, or leave it out"
_EXAMPLE = "for example: CRC-16/KERMIT, or {name: CRC-32/ISO-HDLC, order: big}"
