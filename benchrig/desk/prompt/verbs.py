"""The verbs of a session: how each is written, and what it does."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import get_args

from benchrig.desk.exchanging import Inquiry
from benchrig.desk.prompt import securing
from benchrig.desk.prompt.line import TypedLine, parse, split, take_name
from benchrig.desk.prompt.saving import save
from benchrig.desk.prompt.session import Session
from benchrig.desk.typed_answers import OPTIONS, typed_answers
from benchrig.desk.typed_format import beside, typed_format
from benchrig.desk.writing import Order
from benchrig.errors import UnfitValue, UsageError, WantsPairing
from benchrig.source.problem import suggest
from benchrig.source.shape import misfit_is_usage
from benchrig.steps.payload import hex_bytes
from benchrig.steps.subscription import PROPERTIES, Mode
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.quantity import Duration

LISTEN_FOR = 3.0
_FORMAT = {"--as": "FORMAT"} | {option: one.metavar for option, one in beside().items()}
_EXCHANGE = {"--raw": "HEX", "--reply": "ATTRIBUTE", "--starts-with": "HEX", "--no-response": ""} | OPTIONS
_WATCH = {"--counter": "FIELD", "--mode": "|".join(get_args(Mode))}
_WRITE = {"--raw": "HEX", "--read-back": "", "--no-response": ""}


@dataclass(frozen=True)
class Verb:
    """A word that begins a line."""

    name: str
    # what stands behind it: nothing, or something that may be left out ('[…]') or not
    usage: str
    doc: str
    run: Callable[[Session, TypedLine], Awaitable[None]]
    example: str = ""
    options: Mapping[str, str] = field(default_factory=dict)
    # properties of the attributes that it is for
    needs: tuple[str, ...] = ()

    def check(self, line: TypedLine) -> None:
        """UsageError for words too many, or none where some are needed."""
        example = f"{self.name} {self.example}".strip()
        if line.words and not self.usage:
            raise UsageError(f"{line.verb} takes no '{line.words[0]}'", advice=f"write: {example}")
        if not line.words and self.usage and not self.usage.startswith("["):
            raise UsageError(f"{line.verb} needs to know what", advice=f"for example: {example}")


def says_something(text: str) -> bool:
    """Whether a line is neither empty nor a comment."""
    return bool(text.strip()) and not text.lstrip().startswith("#")


async def do(session: Session, text: str) -> bool:
    """Do what a line says; False when it ends the session. An empty line, and one that begins with #, says nothing.
    Raises benchrig's errors: UsageError for a line that means nothing."""
    if not says_something(text):
        return True
    words = split(text)
    session.about = ""
    verb = VERBS.get(_ALSO.get(words[0], words[0]))
    if verb is None:
        raise UsageError(f"there is no verb '{words[0]}'", advice=suggest(words[0], VERBS) or "help")
    with misfit_is_usage():
        line = parse(words, verb.options)
        verb.check(line)
        try:
            await verb.run(session, line)
        except WantsPairing as error:
            error.advice = "type 'encrypt'" if error.has_bond else "pair with the device: pair keyboard"
            raise
    return verb.name != "quit"


async def _scan(session: Session, line: TypedLine) -> None:
    await session.scan(_seconds(line.options["--for"]) if "--for" in line.options else LISTEN_FOR)


async def _read(session: Session, line: TypedLine) -> None:
    spec = typed_format(line.options)
    for name in await _names_of(session, line):
        await session.read(name, spec)


async def _write(session: Session, line: TypedLine) -> None:
    order, spec = await _order(session, line, "a write")
    await session.write(order, spec)


async def _exchange(session: Session, line: TypedLine) -> None:
    order, spec = await _order(session, line, "an exchange")
    starts_with = _bytes(line.options["--starts-with"]) if "--starts-with" in line.options else b""
    inquiry = Inquiry(order, line.options.get("--reply", ""), starts_with, typed_answers(line.options))
    await session.exchange(inquiry, spec)


async def _order(session: Session, line: TypedLine, what: str) -> tuple[Order, FormatSpec | None]:
    """What is to be sent, and the format that was typed with it."""
    await session.connection.up()
    spec = typed_format(line.options)
    name, words = take_name(line.words, session.desk.names, session.connection.table)
    raw = line.options.get("--raw")
    if (raw is None) == (not words):
        raise UsageError(f"{what} needs either a value or --raw", advice=f"{line.verb} {name} --raw 01 A0")
    order = Order(
        name,
        words,
        None if raw is None else _bytes(raw),
        build_format(spec) if spec else None,
        response="--no-response" not in line.options,
        read_back="--read-back" in line.options,
    )
    return order, spec


async def _watch(session: Session, line: TypedLine) -> None:
    spec = typed_format(line.options)
    counter, mode = line.options.get("--counter"), line.options.get("--mode")
    if mode is not None and mode not in get_args(Mode):
        raise UsageError(
            f"expected {' or '.join(get_args(Mode))}, found '{mode}'", advice=suggest(mode, get_args(Mode))
        )
    for name in await _names_of(session, line):
        await session.watch(name, spec, counter, mode)  # type: ignore[arg-type]  # one of the two


async def _pair(session: Session, line: TypedLine) -> None:
    await securing.pair(session, securing.typed_wish(line.rest, line.options))


async def _save(session: Session, line: TypedLine, *, force: bool = False) -> None:
    path = _file(line.rest)
    saved = save(session, path, datetime.now().astimezone(), force=force)
    result = {"verb": "save", "file": str(path), "steps": saved.steps}
    session.show(result | ({"remarks": saved.remarks} if saved.remarks else {}))


async def _help(session: Session, line: TypedLine) -> None:
    chosen = [VERBS[word] for word in line.words if word in VERBS] or [*VERBS.values()]
    session.show({
        "verb": "help",
        "verbs": [
            {
                "usage": f"{each.name} {each.usage}".strip(),
                "meaning": each.doc,
                "options": [f"{option} {value}".strip() for option, value in each.options.items()],
            }
            for each in chosen
        ],
    })  # fmt: skip


async def _quit(session: Session, line: TypedLine) -> None:
    """What `do` returns ends the session."""


async def _names_of(session: Session, line: TypedLine) -> list[str]:
    """Every attribute that the line names, one after the other."""
    await session.connection.up()
    names, words = list[str](), line.words
    while words:
        name, words = take_name(words, session.desk.names, session.connection.table)
        names.append(name)
    return names


def _seconds(text: str) -> float:
    return Duration.from_source(text).seconds


def _file(text: str) -> Path:
    return Path(text).expanduser()


def _bytes(text: str) -> bytes:
    try:
        return hex_bytes(text)
    except UnfitValue as error:
        raise UsageError(error.message, advice=error.advice) from error


# What people type by habit.
_ALSO = {"exit": "quit"}
_VERBS = (
    Verb("scan", "", "listen, and list what is heard", _scan, "--for 5 s", {"--for": "TIME"}),
    Verb("connect", "[DEVICE]", "connect to this name or address; without one: the last device",
         lambda session, line: session.connect(line.rest)),
    Verb("disconnect", "", "end the connection", lambda session, _: session.disconnect()),
    Verb("table", "", "the attributes of the device", lambda session, _: session.services()),
    Verb("read", "ATTRIBUTE…", "read attributes", _read, "battery level", _FORMAT, ("read",)),
    Verb("write", "ATTRIBUTE VALUE", "write an attribute; FIELD=VALUE words for a structure", _write,
         "alarm limit 8 °C", _WRITE | _FORMAT, ("write", "reliable write", "write without response")),
    Verb("exchange", "ATTRIBUTE VALUE", "write, and show what answers; --as is the format of the answer", _exchange,
         "command --raw 01", _EXCHANGE | _FORMAT, ("write", "reliable write", "write without response")),
    Verb("watch", "ATTRIBUTE…", "subscribe, and show what arrives", _watch, "temperature",
         _WATCH | _FORMAT, PROPERTIES),
    Verb("unwatch", "[ATTRIBUTE]", "end a subscription, or all", lambda session, line: session.unwatch(line.rest)),
    Verb("pair", "[CAPABILITY]", "pair anew, as none, display, yes/no, keyboard, keyboard and display", _pair, "keyboard",
         securing.OPTIONS),
    Verb("encrypt", "", "encrypt the link with the key of the bond", lambda session, _: securing.encrypt(session)),
    Verb("unpair", "", "forget the bond with the device, which keeps its own key",
         lambda session, _: securing.unpair(session)),
    Verb("bonds", "", "list the bonds of this station, without keys", lambda session, _: securing.bonds(session)),
    Verb("wait", "TIME", "wait; ends early if the link is lost",
         lambda session, line: session.wait(_seconds(line.rest)), "2 s"),
    Verb("save", "FILE", "write what was done as a test plan", _save, "plan.yaml"),
    Verb("save!", "FILE", "the same, over a file that exists", partial(_save, force=True), "plan.yaml"),
    Verb("help", "[VERB]", "show this list", _help),
    Verb("quit", "", "end the session", _quit),
)  # fmt: skip
VERBS = {verb.name: verb for verb in _VERBS}
