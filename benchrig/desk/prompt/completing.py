"""What can stand next on a line that is being typed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, get_args

from benchrig.desk.naming import Namer
from benchrig.desk.prompt.securing import PAIRINGS
from benchrig.desk.prompt.verbs import VERBS, Verb
from benchrig.radio.security import CAPABILITIES
from benchrig.steps.subscription import PROPERTIES, Mode
from benchrig.text.escape import plain
from benchrig.values.format import format_names

if TYPE_CHECKING:
    from benchrig.desk.prompt.session import Session


def proposals(before: str, session: Session) -> tuple[int, list[str]]:
    """How many characters before the cursor a proposal takes the place of, and the proposals."""
    verb, space, rest = before.lstrip().partition(" ")
    if not space:
        return len(verb), _fitting(verb, VERBS)
    known = VERBS.get(verb)
    if known is None:
        return 0, []
    rest = rest.lstrip()
    last = rest.rpartition(" ")[2]
    if last.startswith("--"):
        return len(last), _fitting(last, known.options)
    option = _option_before(rest)
    if option == "--as":
        return len(last), _fitting(last, format_names())
    if option == "--order":
        return len(last), _fitting(last, ("little", "big"))
    if option == "--mode":
        return len(last), _fitting(last, get_args(Mode))
    if option == "--pairing":
        return _ending(rest.rpartition("--pairing ")[2], [*PAIRINGS])
    if option == "--reply":
        return _ending(rest.rpartition("--reply ")[2], attributes(session, PROPERTIES))
    return (0, []) if option else _ending(rest, _objects(known, session))


def _option_before(rest: str) -> str:
    """The option whose value is being typed."""
    words = rest.split(" ")[:-1]
    return words[-1] if words and words[-1].startswith("--") else ""


def _objects(verb: Verb, session: Session) -> list[str]:
    if verb.needs:
        return attributes(session, verb.needs)
    if verb.name == "unwatch":
        return [*session.watches]
    if verb.name == "pair":
        return [*CAPABILITIES]
    if verb.name == "help":
        return [*VERBS]
    # a name with what cannot be typed is no proposal
    return [name for name in session.heard if name == plain(name)] if verb.name == "connect" else []


def attributes(session: Session, needs: tuple[str, ...]) -> list[str]:
    """The attributes of the device that offer one of these properties; the own names before it was connected."""
    if session.connection.table is None:
        return [*session.desk.names.aliases]
    found = Namer(session.connection.table, session.desk.names).all()
    readable = "read" in needs or "write" in needs
    return [
        name
        for name, each in found.items()
        if (set(needs) & set(each.attribute.properties) if hasattr(each.attribute, "properties") else readable)
    ]


def _ending(rest: str, known: list[str]) -> tuple[int, list[str]]:
    """Proposals that begin with what the line ends with: its longest end that begins one, since names have spaces."""
    words = rest.split(" ")
    for start in range(len(words)):
        typed = " ".join(words[start:])
        if fitting := _fitting(typed, known):
            return len(typed), fitting
    return 0, []


def _fitting(typed: str, known: Iterable[str]) -> list[str]:
    return [each for each in known if each.startswith(typed)]
