"""The text of a plan as a run keeps it: bounded, and without what is secret in it."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING

from benchrig.record.events import PlanSource
from benchrig.record.secrets import MASK

if TYPE_CHECKING:
    from benchrig.source.problem import Place

# Characters of all files together; of a longer plan the first lines are kept.
MOST_TEXT = 200_000
# Keys whose values are secret in every plan.
_SECRET_KEYS = frozenset({"identity_key", "passkey", "out_of_band"})
# What may be a number of a pairing, in a plan with pairings.
_SIX_DIGITS = re.compile(r"(?<![0-9])[0-9]{3}[ -]?[0-9]{3}(?![0-9])")
_LINE_END = re.compile(r"\r\n|\r|\n")


def texts_of(places: Iterable[Place], secret: Collection[str], *, pairs: bool) -> list[PlanSource]:
    """Of the files with these places, in their order; the names in `secret` are those of secret values."""
    room, kept = MOST_TEXT, list[PlanSource]()
    for source in {place.source.name: place.source for place in places if place.source.text}.values():
        lines = [*without_secrets(source.text, _SECRET_KEYS.union(secret), pairs=pairs)]
        text = "\n".join(lines)
        if len(text) > room:
            text = text[:room].rpartition("\n")[0]
        kept.append(PlanSource(source.name, text, len(lines) - text.count("\n") - 1))
        room -= len(text)
    return kept


def without_secrets(text: str, keys: Collection[str], *, pairs: bool) -> Iterator[str]:
    """Its lines. What belongs to a key that is secret is masked as a whole: rather too much than too little."""
    words = "|".join(map(re.escape, sorted(keys)))
    key = re.compile(rf"""(?:^|[\s{{,\-])['"]?(?P<key>{words})['"]?\s*:""")
    deeper: int | None = None
    for line in _LINE_END.split(text):
        indent = len(line) - len(line.lstrip())
        if deeper is not None and (indent > deeper or not line.strip()):
            yield " " * indent + MASK if line.strip() else ""
            continue
        found = key.search(line)
        deeper = found.start("key") if found else None
        shown = f"{line[: found.end()]} {MASK}" if found and line[found.end() :].strip() else line
        yield _SIX_DIGITS.sub(MASK, shown) if pairs else shown
