"""The text of a request, on one line, and the request of a text.

read blob 0x0012 at 513        a well-formed ATT request, by its name
write 0x0012 41 42 00*510      octets as hex; 00*510 are 510 times 00, '-' is none
att 2A 01                      any ATT PDU; smp …, signal … likewise
frame 0x0040 01 02             octets on any channel
together read 0x0003 & read 0x0005
storm 0x0013 40
reconnect 10
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from benchrig.requests.request import MOST_TIMES, Reconnect, Request, Send, Storm, Together
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values.channels import ATT, SIGNALLING, SMP

# So many equal octets are written as XX*N.
_RUN = 4
MOST_OCTETS = 1024
NONE = "-"
_OCTETS = re.compile(r"(?:[0-9A-Fa-f]{2})+|([0-9A-Fa-f]{2})\*(\d{1,4})")
_HANDLE = re.compile(r"0x([0-9A-Fa-f]{4})")


class Form(NamedTuple):
    """A well-formed ATT request: its first octets, and what follows them as fields. `rest`: any octets at the end."""

    verb: str
    begins: bytes
    fields: tuple[str, ...] = ()
    rest: bool = False


# Core Vol 3 Part F 3.4; a field has two octets, lower one first
FORMS = (
    Form("mtu", b"\x02", ("number",)),
    Form("find information", b"\x04", ("from", "to")),
    Form("find by type", b"\x06", ("from", "to"), rest=True),
    Form("read by type", b"\x08", ("from", "to"), rest=True),
    Form("read by group", b"\x10", ("from", "to"), rest=True),
    Form("read blob", b"\x0c", ("handle", "at")),
    Form("read", b"\x0a", ("handle",)),
    Form("write", b"\x12", ("handle",), rest=True),
    Form("command", b"\x52", ("handle",), rest=True),
    Form("prepare", b"\x16", ("handle", "at"), rest=True),
    Form("execute", b"\x18\x01"),
    Form("cancel", b"\x18\x00"),
)
# Each field as it is written: what it begins with, its pattern, how its number is shown
_FIELDS = {
    "number": (r" (\d{1,5})", " {}"),
    "at": (r" at (\d{1,5})", " at {}"),
    "handle": (r" (0x[0-9A-Fa-f]{4})", " 0x{:04X}"),
    "from": (r" (0x[0-9A-Fa-f]{4})", " 0x{:04X}"),
    "to": (r"-(0x[0-9A-Fa-f]{4})", "-0x{:04X}"),
}
_CHANNELS = {"att": ATT, "signal": SIGNALLING, "smp": SMP}
VERBS = (*(form.verb for form in FORMS), *_CHANNELS, "frame", "together", "storm", "reconnect")
_EXAMPLES = {
    "frame": "frame 0x0040 01 02",
    "together": "together read 0x0003 & read 0x0005",
    "storm": "storm 0x0013 40",
    "reconnect": "reconnect 10",
    **{name: f"{name} 01 02" for name in _CHANNELS},
}


# --- to text


def text_of(request: Request) -> str:
    """What `request_of` reads as just this request."""
    if isinstance(request, Together):
        return "together " + " & ".join(map(text_of, request.parts))
    if isinstance(request, Storm):
        return f"storm 0x{request.handle:04X} {request.times}"
    if isinstance(request, Reconnect):
        return f"reconnect {request.times}"
    return _text_of_frame(request)


def _text_of_frame(send: Send) -> str:
    if send.channel == ATT and (named := _named(send.octets)):
        return named
    for name, channel in _CHANNELS.items():
        if channel == send.channel:
            return f"{name} {octets_text(send.octets)}"
    return f"frame 0x{send.channel:04X} {octets_text(send.octets)}"


def _named(octets: bytes) -> str:
    """The text of a well-formed ATT request; '' for what is none."""
    for form in FORMS:
        size = len(form.begins) + 2 * len(form.fields)
        if octets.startswith(form.begins) and (len(octets) == size or (form.rest and len(octets) > size)):
            fields = octets[len(form.begins) : size]
            numbers = [int.from_bytes(fields[at : at + 2], "little") for at in range(0, len(fields), 2)]
            shown = (_FIELDS[name][1].format(number) for name, number in zip(form.fields, numbers, strict=True))
            return form.verb + "".join(shown) + (f" {octets_text(octets[size:])}" if form.rest else "")
    return ""


def octets_text(octets: bytes) -> str:
    """'41 42 00*510'; '-' for none."""
    return " ".join(_runs(octets)) or NONE


def _runs(octets: bytes) -> Iterator[str]:
    for octet, run in groupby(octets):
        count = len(list(run))
        yield from [f"{octet:02X}*{count}"] if count >= _RUN else [f"{octet:02X}"] * count


# --- from text


def request_of(text: str) -> Request:
    """Raises Misfit."""
    words = " ".join(text.split())
    verb = max((verb for verb in VERBS if f"{words} ".startswith(f"{verb} ")), key=len, default="")
    rest = words.removeprefix(verb)
    if verb == "together":
        return _together(rest)
    if verb in ("storm", "reconnect"):
        return _counted(verb, rest)
    for form in FORMS:
        if form.verb == verb:
            return Send(_octets_of(form, rest))
    if not verb:
        first = words.partition(" ")[0]
        raise Misfit(f"unknown request '{first}'", suggest(first, VERBS))
    return _frame(verb, rest)


def _frame(verb: str, rest: str) -> Send:
    if verb != "frame":
        return Send(octets_of(rest), _CHANNELS[verb])
    channel, _, octets = rest.strip().partition(" ")
    if not _HANDLE.fullmatch(channel):
        raise _unlike(verb, rest)
    return Send(octets_of(octets), int(channel, 16))


def _together(rest: str) -> Together:
    parts = [request_of(part) for part in rest.split("&")]
    sends = tuple(part for part in parts if isinstance(part, Send))
    if len(parts) < 2 or len(sends) < len(parts):
        raise _unlike("together", rest)
    return Together(sends)


def _counted(verb: str, rest: str) -> Request:
    pattern = r" (0x[0-9A-Fa-f]{4}) (\d{1,4})" if verb == "storm" else r"() (\d{1,4})"
    match = re.fullmatch(pattern, rest)
    if match is None or not 1 <= int(match[2]) <= MOST_TIMES:
        raise _unlike(verb, rest)
    return Storm(int(match[1], 16), int(match[2])) if verb == "storm" else Reconnect(int(match[2]))


def _octets_of(form: Form, rest: str) -> bytes:
    fields = "".join(_FIELDS[name][0] for name in form.fields)
    match = re.fullmatch(f"{fields}(?: (.*))?" if form.rest else fields, rest)
    if match is None or (form.rest and match[match.re.groups] is None):
        raise _unlike(form.verb, rest)
    numbers = [_number(match[index + 1]) for index in range(len(form.fields))]
    if max(numbers, default=0) > 0xFFFF:
        raise Misfit(f"'{max(numbers)}' has more than 16 bits", "write 0 to 65535")
    octets = b"".join(number.to_bytes(2, "little") for number in numbers)
    return form.begins + octets + (octets_of(match[match.re.groups]) if form.rest else b"")


def _number(text: str) -> int:
    return int(text, 16) if text.startswith("0x") else int(text)


def octets_of(text: str) -> bytes:
    """Raises Misfit."""
    if text.strip() == NONE:
        return b""
    octets = b"".join(map(_group, text.split()))
    if not octets or len(octets) > MOST_OCTETS:
        found = f"{len(octets)} octets" if octets else "nothing"
        raise Misfit(f"expected 1 to {MOST_OCTETS} octets as hex, found {found}", "for example: 01 02 00*510, or -")
    return octets


def _group(group: str) -> bytes:
    match = _OCTETS.fullmatch(group)
    if match is None:
        raise Misfit(f"expected octets as hex, found '{group}'", "for example: 01 02 00*510, or -")
    return bytes.fromhex(match[1]) * int(match[2]) if match[1] else bytes.fromhex(group)


def _unlike(verb: str, rest: str) -> Misfit:
    example = _EXAMPLES.get(verb) or next(_example(form) for form in FORMS if form.verb == verb)
    return Misfit(f"'{verb}{rest}' is not a {verb} request", f"for example: {example}")


def _example(form: Form) -> str:
    numbers = {"number": 23, "at": 513, "handle": 0x12, "from": 1, "to": 0xFFFF}
    fields = (_FIELDS[name][1].format(numbers[name]) for name in form.fields)
    return form.verb + "".join(fields) + (" 01 02" if form.rest else "")
