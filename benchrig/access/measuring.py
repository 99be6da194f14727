"""What a device that is known to be good asks for: every operation over links of rising protection, without a matrix."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from benchrig.access.asking import Asking
from benchrig.access.rules import Over, expected
from benchrig.access.subject import can_subscribe, is_switch, offers
from benchrig.radio.security import Level
from benchrig.radio.table import Characteristic
from benchrig.values.access import LEVELS, Need, Operation
from benchrig.values.att_errors import INSUFFICIENT, INSUFFICIENT_AUTHORIZATION, KEY_TOO_SHORT

if TYPE_CHECKING:
    from benchrig.radio.table import Attribute, Found, Table


@dataclass
class Measured:
    """One operation on one attribute: the answer over each link, by its level; 0 is allowed."""

    found: Found
    operation: Operation
    answers: dict[Level, int] = field(default_factory=dict)
    # over a link with a short key
    short: int | None = None

    @property
    def wants_long_key(self) -> bool:
        return self.short == KEY_TOO_SHORT

    @property
    def need(self) -> Need:
        """The least protected link that it is allowed over, or the next one after those that it is refused over; `any` where
        nobody can say."""
        allowed = [level for level, code in self.answers.items() if code == 0]
        if allowed:
            return LEVELS[min(allowed)]
        if not self.answers:
            return "any"
        highest = max(self.answers)
        last = self.answers[highest]
        if self._is_not_permitted(highest) or last == INSUFFICIENT_AUTHORIZATION:
            return "never"
        more = last in INSUFFICIENT - {KEY_TOO_SHORT} and highest < Level.SECURE_CONNECTIONS
        return LEVELS[highest + 1] if more else "any"

    @property
    def is_guess(self) -> bool:
        """Whether a link that was not tried could be enough, or too little."""
        least = LEVELS.index(self.need) if self.need in LEVELS else 0
        return not self.answers.keys() >= {level for level in Level if level <= least}

    def is_strict(self, need: Need) -> bool:
        """Whether every answer is the one that the specification has for it."""
        wanted = [
            (expected(self.operation, need, Over(level), strict=True), code) for level, code in self.answers.items()
        ]
        return all(each is None or each.fits(code) for each, code in wanted)

    def _is_not_permitted(self, level: Level) -> bool:
        never = expected(self.operation, "never", Over(level), strict=True)
        return never is not None and never.fits(self.answers[level])


@dataclass
class Measuring:
    """Reads all, subscribes to all that sends, and writes what is named in `writes` (handles), with the value that is there."""

    writes: Set[int] = frozenset()
    _found: dict[tuple[int, Operation], Measured] = field(default_factory=dict)
    _values: dict[int, bytes] = field(default_factory=dict)

    async def over(self, asking: Asking, table: Table, level: Level) -> None:
        """Try everything over this link that was not tried at its level. What an operation of the link raises."""
        for operation in cast("tuple[Operation, ...]", ("read", "write", "subscribe")):
            for found in table.attributes():
                if self._is_asked(found.attribute, operation):
                    await self._try(asking, found, operation, level)

    async def over_short_key(self, asking: Asking, table: Table) -> None:
        """The same over a link with a short key, whatever its level is."""
        for measured in self._found.values():
            found = table.by_handle(measured.found.attribute.handle)
            if found and 0 in measured.answers.values():
                measured.short = await self._asked(asking, found[0].attribute, measured.operation)

    def _is_asked(self, attribute: Attribute, operation: Operation) -> bool:
        if is_switch(attribute):
            return False
        if operation == "write":
            return attribute.handle in self.writes and attribute.handle in self._values
        if operation == "subscribe":
            return can_subscribe(attribute)
        return offers(attribute, "read") is True

    async def _try(self, asking: Asking, found: Found, operation: Operation, level: Level) -> None:
        attribute, key = found.attribute, (found.attribute.handle, operation)
        measured = self._found.setdefault(key, Measured(found, operation))
        if level not in measured.answers:
            measured.answers[level] = await self._asked(asking, attribute, operation)

    async def _asked(self, asking: Asking, attribute: Attribute, operation: Operation) -> int:
        name = f"handle 0x{attribute.handle:04X}"
        if operation == "subscribe":
            return (await asking.subscribe(cast("Characteristic", attribute), name)).code
        if operation == "write":
            return (await asking.write(attribute, name, self._values[attribute.handle])).code
        answer = await asking.read(attribute, name)
        if not answer.code:
            self._values[attribute.handle] = answer.data
        return answer.code

    @property
    def found(self) -> Mapping[tuple[int, Operation], Measured]:
        """By handle and operation."""
        return self._found

    @property
    def is_complete(self) -> bool:
        """Whether a further link without security would show nothing more."""
        return all(Level.NO_SECURITY in each.answers for each in self._found.values())


def is_strict(found: Iterable[Measured]) -> bool:
    return all(each.is_strict(each.need) for each in found)
