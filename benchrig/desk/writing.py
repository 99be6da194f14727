"""Writes one attribute: from words as they were typed, or bytes, to what the device made of them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.desk.desk import READ_WITHIN
from benchrig.desk.inspection import Content, content
from benchrig.errors import AttributeMissing, UnfitValue, UsageError
from benchrig.source.shape import LooseText, Misfit
from benchrig.steps.lookup import look_up
from benchrig.steps.payload import LONGEST, encode, why_not_kept
from benchrig.text.escape import hex_text, plain

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Sighting
    from benchrig.steps.attribute import Names
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

WRITE_WITHIN = 5.0
_SAY_HOW = "give the format with --as FORMAT (and --scale, --unit), or the bytes with --raw"
_FIELD = re.compile(r"([a-z][a-z0-9_.]*)=(.*)", re.DOTALL)
# Of these kinds a value is what was typed, whatever it looks like.
_AS_TYPED = ("text", "bytes", "time")


@dataclass(frozen=True)
class Order:
    """What to write where."""

    attribute: str
    # as typed, or the bytes
    words: tuple[str, ...] = ()
    data: bytes | None = None
    # a format of one's own for the attribute
    form: Format | None = None
    response: bool = True
    read_back: bool = False

    def bytes_in(self, form: Format | None) -> bytes:
        """The bytes to write, with the attribute's format. UnfitValue when there are none."""
        own = self.form or form
        try:
            data = encode(own, value_of(own, self.words), None) if self.data is None else self.data
        except UnfitValue as error:
            if own is not None:
                raise
            unknown = f"the format of '{plain(self.attribute)}' is unknown, so its value must be bytes: {error.message}"
            raise UnfitValue(unknown, advice=_SAY_HOW) from error
        if len(data) > LONGEST:
            raise UnfitValue(f"{len(data)} bytes are more than an attribute holds ({LONGEST})")
        return data

    def check(self, names: Names) -> None:
        """See, before anything is sent, that the name means something and the value fits, as far as both are known.
        UsageError."""
        if self.read_back and not self.response:
            raise UsageError("what is read back has to be written with response", advice="leave one of the two out")
        try:
            meaning = names.meaning(self.attribute)
            if self.form or meaning.format or self.data is not None:
                self.bytes_in(meaning.format)
        except (Misfit, UnfitValue) as error:
            raise UsageError(error.message, advice=error.advice) from error

    def caution(self, unit: Sighting, heed: str = "") -> str:
        """What a person must know before it is done; `heed` is the plan's word on it."""
        who = plain(f"{unit.name} ({unit.address})" if unit.name else unit.address)
        what = plain(" ".join(self.words)) if self.data is None else hex_text(self.data.hex().upper())
        ours = f"This writes {what} to '{plain(self.attribute)}' of {who}. A write can move, heat or unlock a device."
        return f"{ours}\n{heed}" if heed else ours


class Written(msgspec.Struct, omit_defaults=True):
    """What was done."""

    attribute: str
    written: Content
    # seconds until the device had answered
    elapsed: float
    response: bool = True
    read_back: Content | None = None
    # when another value was read back than was written
    error: str = ""
    advice: str = ""


@dataclass(frozen=True)
class Prepared:
    """An order that the attribute of a connected device takes: what is left is to send it."""

    order: Order
    target: Target
    form: Format | None
    data: bytes


@dataclass
class Sending:
    """How far a write has come, in words for who stops it."""

    state: str = "nothing was sent"
    is_confirmed: bool = False

    def begin(self) -> None:
        self.state = "the write may have reached the device"

    def confirm(self) -> None:
        self.state = "the device has confirmed the write"
        self.is_confirmed = True


async def prepare(desk: Desk, link: Link, order: Order) -> Prepared:
    """Look the attribute up, and see that it offers what is asked of it and what its bytes are; nothing is written.
    AttributeMissing, AttributeAmbiguous, UnfitValue, NoAnswer, LinkLost."""
    target = target_of(desk, link, order)
    known = target.format or (None if order.form or order.data is not None else await desk.presented(link, target))
    return Prepared(order, target, order.form or known, order.bytes_in(known))


async def send(desk: Desk, link: Link, prepared: Prepared, sending: Sending) -> Written:
    """Write, and read back if wanted. AttError, NoAnswer, LinkLost."""
    order, form, data = prepared.order, prepared.form, prepared.data
    attribute = prepared.target.found.attribute
    started = desk.now()
    sending.begin()
    async with desk.blaming():
        await link.write(attribute, data, f"write {order.attribute}", WRITE_WITHIN, response=order.response)
    if order.response:
        sending.confirm()
    written = Written(order.attribute, content(data, form), round(desk.now() - started, 6), order.response)
    if order.read_back:
        async with desk.blaming():
            back = await link.read(attribute, f"read back {order.attribute}", READ_WITHIN)
        written.read_back = content(back, form)
        if wrong := why_not_kept(form, data, back):
            written.error, written.advice = wrong, "the device did not keep the value"
    return written


def target_of(desk: Desk, link: Link, order: Order) -> Target:
    """The attribute, which offers the write that is asked for. AttributeMissing, AttributeAmbiguous."""
    needs = ("write", "reliable write") if order.response else ("write without response",)
    try:
        target = look_up(link.table, desk.names, order.attribute, needs)
    except AttributeMissing as error:
        if order.response and "its properties: " in error.message and "write without response" in error.message:
            raise AttributeMissing(error.message, advice="write it with --no-response") from error
        raise
    if order.read_back:
        look_up(link.table, desk.names, order.attribute, ("read",))
    return target


def value_of(form: Format | None, words: Iterable[str]) -> Any:
    """Typed words as the value that a plan would have there: `8 °C`, `true`, text, and `field=value` for structures.
    UnfitValue."""
    if form is None or form.kind != "struct":
        return _one(" ".join(words), form)
    leaves, value = form.leaves(), dict[str, Any]()
    for name, text in _fields(words, leaves):
        _put(value, name, _one(text, leaves.get(name)))
    return value


def _one(text: str, form: Format | None) -> Any:
    if form is None or form.kind in _AS_TYPED:
        return text
    if form.kind == "list":
        return [LooseText(part.strip()) for part in text.split(",")] if text.strip() else []
    return LooseText(text.strip())


def _fields(words: Iterable[str], known: Iterable[str]) -> list[tuple[str, str]]:
    """`speed=2`, `m/s` -> ('speed', '2 m/s')."""
    fields: list[tuple[str, str]] = []
    for word in words:
        match = _FIELD.fullmatch(word)
        if match:
            fields.append((match[1], match[2]))
        elif fields:
            fields[-1] = (fields[-1][0], f"{fields[-1][1]} {word}")
        else:
            advice = f"fields: {', '.join(known)}"
            raise UnfitValue(f"expected field=value, found '{plain(word)}'", advice=advice)
    return fields


def _put(value: dict[str, Any], name: str, item: Any) -> None:
    """`motion.speed` -> {motion: {speed: …}}."""
    *outer, last = name.split(".")
    for part in outer:
        value = value.setdefault(part, {})
        if not isinstance(value, dict):
            raise UnfitValue(f"'{part}' is a field and a structure at once")
    if last in value:
        raise UnfitValue(f"the field '{name}' is given twice")
    value[last] = item
