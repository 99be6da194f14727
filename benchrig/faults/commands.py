"""What goes wrong with one command, or one line of the console: it is not known, does too little, takes what it must
refuse, or its answer is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from benchrig.faults.doings import Doing, doings
from benchrig.faults.fault import OF_LINK, Fault, Scene
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, dropped, replaced, within
from benchrig.faults.occasions import UNLIKELY
from benchrig.radio.virtual.behaviour import Behaviour
from benchrig.radio.virtual.behaviours import AttError, Delay, Disconnect
from benchrig.radio.virtual.effects import ANSWERS
from benchrig.radio.virtual.reaction_spec import MatchSpec, WriteSpec
from benchrig.radio.virtual.words import Hex
from benchrig.values.quantity import Duration

_SLOW = Duration.of(3)
_HEX = re.compile("[0-9A-Fa-f]{2}( ?[0-9A-Fa-f]{2})*")
_PLACE = re.compile(r"\s*\{[^{}]*\}")
# Each of the size of the other.
_OTHER_CRCS = ("CRC-16/XMODEM", "CRC-16/KERMIT", "CRC-32/ISO-HDLC", "CRC-32/BZIP2", "CRC-8/SMBUS", "CRC-8/MAXIM-DOW")


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for doing in doings(scene.unit):
        if isinstance(doing.spec, MatchSpec):
            yield from _known(doing)
        if isinstance(doing.spec, MatchSpec | WriteSpec) and (doing.spec.notify or doing.spec.set):
            yield from _refused(doing)
        yield from _effects(doing)
        for name, value in doing.spec.notify.items():
            for kind, says, other in _other_answers(value):
                change = within("notify", _with(name, other))
                yield doing.fault("exchange", kind, says, change)
        if doing.spec.print is not None:
            yield from _printed(doing)


def _with(name: str, value: Any) -> Change:
    """The mapping with another value at a name; without the name for None."""
    return lambda present: {key: one for key, one in {**present, name: value}.items() if one is not None}


def _known(doing: Doing) -> Iterator[Fault]:
    if any(isinstance(one, AttError | Disconnect) for one in doing.spec.behaviours):
        says = "The device lets {it} pass, which it must refuse."
        yield doing.fault("exchange", "not known", says, dropped, "grave")
    else:
        yield doing.fault("exchange", "not known", "The device does not know {it}.", dropped)
    begins = getattr(doing.spec, "starts_with", None)
    if begins is not None and len(begins) > 2:
        shorter = replaced(starts_with=Hex(begins[:-1]))
        says = "The device takes any last byte for {it}, also a wrong one."
        yield doing.fault("exchange", "last byte not looked at", says, shorter, "grave")
    if begins is not None and len(begins) > 1:
        says = "The device takes anything behind the first byte for {it}."
        yield doing.fault(
            "exchange", "only its first byte looked at", says, replaced(starts_with=Hex(begins[:1])), "grave"
        )
    if doing.spec.every > 1:
        later = replaced(every=doing.spec.every + 1)
        yield doing.fault(
            "exchange",
            "one time too late",
            "What happens at {it} happens one time too late.",
            later,
            "serious",
            OF_LINK,
        )
        sooner = replaced(every=doing.spec.every - 1)
        yield doing.fault(
            "exchange", "one time too soon", "What happens at {it} happens one time too soon.", sooner, "minor", OF_LINK
        )


def _refused(doing: Doing) -> Iterator[Fault]:
    if doing.one is None:
        return
    yield doing.fault(
        "exchange", "refused", "The device refuses {it}, which it must take.", _behaves(AttError(att_error=UNLIKELY))
    )
    ends = _behaves(Disconnect())
    yield doing.fault("exchange", "ends the link", "The link ends at {it}.", ends, "serious", OF_LINK)
    late = _behaves(Delay(delay=_SLOW))
    yield doing.fault("exchange", "late", "The device deals with {it} only after 3 s.", late, "minor")


def _behaves(behaviour: Behaviour) -> Change:
    """In place of what stands there instead of an answer, and of one of its kind."""

    def behaves(present: tuple[Behaviour, ...]) -> tuple[Behaviour, ...]:
        kept = [
            one for one in present if not (one.is_answer and behaviour.is_answer) and type(one) is not type(behaviour)
        ]
        return (*kept, behaviour)

    return within("behaviours", behaves)


def _effects(doing: Doing) -> Iterator[Fault]:
    """Each thing that does not happen."""
    for name in doing.spec.set:
        says = f"The {name} does not change at {{it}}."
        yield doing.fault("exchange", f"{name} not changed", says, within("set", _with(name, None)), "grave")
    for name, value in doing.spec.notify.items():
        if _is_answer(value):
            says, kind = f"No answer to {{it}} comes in the {name}.", f"no answer in {name}"
            yield doing.fault("exchange", kind, says, within("notify", _with(name, None)), "serious", OF_LINK)
        else:
            says = f"The {name} does not change at {{it}}."
            yield doing.fault("exchange", f"{name} not changed", says, within("notify", _with(name, None)), "grave")
            change = lambda spec, name=name, value=value: replace(  # noqa: E731
                spec, set={**spec.set, name: value}, notify=_with(name, None)(spec.notify)
            )
            says = f"The {name} changes at {{it}}, and nobody who has subscribed is told."
            yield doing.fault("exchange", f"{name} not told", says, change)


def _is_answer(value: Any) -> bool:
    return not isinstance(value, dict) or bool(value.keys() & ANSWERS.keys())


def _other_answers(value: Any) -> Iterator[tuple[str, str, Any]]:
    if isinstance(value, str) and _HEX.fullmatch(value):
        octets = bytes.fromhex(value)
        yield "answered with another code", "The answer to {it} has a wrong last byte.", _hex(_raised(octets, -1))
        if len(octets) > 1:
            yield "answered as another", "The answer to {it} is that to another command.", _hex(_raised(octets, 0))
            yield "answer too short", "The last byte of the answer to {it} is missing.", _hex(octets[:-1])
        yield "answer too long", "The answer to {it} has a byte too many.", _hex(octets + b"\0")
        yield "answered twice", "The answer to {it} comes twice.", {"several": [value, value]}
    elif isinstance(value, str) and _PLACE.search(value):
        yield (
            "answered without its value",
            "What the answer to {it} should tell is missing.",
            _PLACE.sub("", value) or None,
        )
    elif isinstance(value, dict) and "pieces" in value:
        yield from _other_pieces(value)


def _other_pieces(value: dict[str, Any]) -> Iterator[tuple[str, str, Any]]:
    yield "answer empty", "The answer to {it} has lost all that it should tell.", {**value, "pieces": ""}
    shorter = re.sub(r"[0-9A-Fa-f]{2}\s*$", "", value["pieces"])
    yield (
        "answer without its last byte",
        "The last byte of the answer to {it} is missing.",
        {**value, "pieces": shorter},
    )
    other = re.sub(r"([0-9A-Fa-f])(\s*)$", lambda found: f"{int(found[1], 16) ^ 1:X}{found[2]}", value["pieces"])
    yield "answer with a wrong bit", "One bit of the answer to {it} is wrong.", {**value, "pieces": other}
    if "last" in value:
        unmarked = {key: one for key, one in value.items() if key != "last"}
        yield "last piece not marked", "The last piece of the answer to {it} looks like the others.", unmarked
    if "crc" in value:
        place = _OTHER_CRCS.index(value["crc"]) if value["crc"] in _OTHER_CRCS else None
        without = {key: one for key, one in value.items() if key != "crc"}
        yield "answer without a CRC", "The CRC of the answer to {it} is missing.", without
        if place is not None:
            yield "wrong CRC", "The CRC of the answer to {it} is wrong.", {**value, "crc": _OTHER_CRCS[place ^ 1]}


def _raised(octets: bytes, at: int) -> bytes:
    """With a byte that is one more."""
    changed = bytearray(octets)
    changed[at] = (changed[at] + 1) & 0xFF
    return bytes(changed)


def _hex(octets: bytes) -> str:
    return octets.hex(" ").upper()


def _printed(doing: Doing) -> Iterator[Fault]:
    text: str = doing.spec.print
    yield doing.fault("exchange", "not printed", "The console does not print what it should at {it}.", _silent)
    digits = re.search(r"\d(?=[^{}\d]*$)", text)
    if digits is not None:
        other = text[: digits.start()] + str((int(digits[0]) + 1) % 10) + text[digits.end() :]
        yield doing.fault(
            "exchange", "another number printed", "The console prints a wrong number at {it}.", replaced(print=other)
        )
    else:
        says = "The console prints something else at {it}."
        yield doing.fault("exchange", "something else printed", says, replaced(print=f"error {len(text)}"))


def _silent(spec: Any) -> Any:
    """An action that does nothing else is none."""
    left = replace(spec, print=None)
    return left if isinstance(spec, MatchSpec | WriteSpec) or not any(left.misfits()) else None
