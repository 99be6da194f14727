"""Text and plain bytes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from benchrig.errors import MalformedValue
from benchrig.source.shape import Misfit, octets
from benchrig.values.base import Format, Kind, Named, Order, check_size, hex_text, said
from benchrig.values.value import Value


@dataclass(eq=False)
class TextFormat(Format):
    """UTF-8 or UTF-16 text, to the end of the bytes or of a fixed number of octets. Nothing is stripped: a NUL that
    pads the text is part of it, so that a limit sees what the device really sends."""

    coding: Literal["utf8", "utf16"]
    length: int | None = None
    order: Order = "little"

    def __post_init__(self) -> None:
        self.size: int | None = self.length
        self.kind: Kind = "text"
        self._codec = "utf-8" if self.coding == "utf8" else f"utf-16-{self.order[0]}e"

    def decode(self, data: bytes) -> Value:
        if self.length is not None:
            check_size(data, self.length, "the text")
        try:
            return data.decode(self._codec)
        except UnicodeDecodeError as exc:
            bad = hex_text(data[exc.start : exc.start + 4])
            raise MalformedValue(f"not {self.coding} text from byte {exc.start} on: {bad}") from exc

    def encode(self, value: Any) -> bytes:
        if not isinstance(value, str):
            raise MalformedValue(f"expected text, found {said(value)}")
        try:
            data = value.encode(self._codec)
        except UnicodeEncodeError as exc:
            raise MalformedValue(f"{said(value)} has a character that is not Unicode text") from exc
        if self.length is not None:
            check_size(data, self.length, "the text")
        return data

    @property
    def name(self) -> str:
        return self.coding

    def detail(self) -> str:
        return "" if self.length is None else f"of {self.length} bytes"


@dataclass(eq=False)
class BytesFormat(Format):
    """Bytes as they are. Hex text is accepted where bytes are to be encoded."""

    length: int | None = None

    def __post_init__(self) -> None:
        self.size: int | None = self.length
        self.kind: Kind = "bytes"

    def decode(self, data: bytes) -> Value:
        if self.length is not None:
            check_size(data, self.length, "the value")
        return bytes(data)

    def encode(self, value: Any) -> bytes:
        data = _as_bytes(value)
        if self.length is not None:
            check_size(data, self.length, "the value")
        return data

    @property
    def name(self) -> str:
        return "hex"

    def detail(self) -> str:
        return "" if self.length is None else f"of {self.length} bytes"


def _as_bytes(value: Any) -> bytes:
    if isinstance(value, (bytes, bytearray)):
        return bytes(value)
    try:
        return octets(value)
    except Misfit as misfit:
        raise MalformedValue(misfit.message, advice=misfit.advice) from None


NAMED = {
    "utf8": Named(frozenset({"length"}), lambda keys: TextFormat("utf8", keys.length)),
    "utf16": Named(frozenset({"length", "order"}), lambda keys: TextFormat("utf16", keys.length, keys.order)),
    "hex": Named(frozenset({"length"}), lambda keys: BytesFormat(keys.length)),
}
