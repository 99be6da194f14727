"""The operations over one link, made so that they change nothing: what is written is the value that is there, what is
subscribed to is left again. An answer that refuses is an answer here, and no error."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchrig.access.rules import NOT_ENDED, UNTOLD
from benchrig.errors import AttError
from benchrig.radio.offers import CCCD
from benchrig.values.att_errors import REQUEST_NOT_SUPPORTED
from benchrig.values.catalogue import short_uuid

if TYPE_CHECKING:
    from benchrig.radio.link import Link, Way
    from benchrig.radio.table import Attribute, Characteristic

# Seconds for one answer: ATT allows 30 (Core Vol 3 Part F 3.3.3), and a unit that takes so long has hung.
ANSWER_WITHIN = 5.0
# Requests that tell a value beside the plain read, and one that prepares to change it.
READ_WAYS: tuple[Way, ...] = ("read request", "read blob", "read by type", "read multiple", "read multiple variable")
WRITE_WAYS: tuple[Way, ...] = ("prepare write",)
# Requests that change a value; what they are answered with says nothing, or there is no answer.
CHANGE_WAYS: tuple[Way, ...] = ("execute write", "write command", "signed write")
# Find By Type Value has room for so much in the least MTU (Core Vol 3 Part F 3.4.3.3), and for types of 16 bits.
_FINDABLE, _SHORT_UUID = 16, 4
_ON = {"notify": b"\x01\x00", "indicate": b"\x02\x00"}


@dataclass(frozen=True)
class Answer:
    """`code` is 0 for what was allowed, UNTOLD for what had no effect; `way` the request, where it is not the usual one."""

    code: int = 0
    way: str = ""
    data: bytes = b""


class Asking:
    """`time_left` are the seconds that the caller has."""

    def __init__(self, link: Link, time_left: Callable[[], float]) -> None:
        self.link = link
        self._time_left = time_left

    @property
    def _within(self) -> float:
        return min(ANSWER_WITHIN, self._time_left())

    async def read(self, attribute: Attribute, name: str) -> Answer:
        try:
            return Answer(data=await self.link.read(attribute, f"read {name}", self._within))
        except AttError as error:
            return Answer(error.code)

    async def other_reads(self, attribute: Attribute, name: str, known: bytes | None) -> list[Answer]:
        """The other requests that may tell what a plain read does not; `known` is the value, where another link showed it."""
        ways = READ_WAYS
        if known and len(known) <= _FINDABLE and len(short_uuid(attribute.uuid)) == _SHORT_UUID:
            ways = (*READ_WAYS, "find by type value")
        return await self._ways(ways, attribute, name, known or b"")

    async def other_writes(self, attribute: Attribute, name: str, data: bytes) -> list[Answer]:
        """The other requests that begin to change a value; what they prepare is taken back."""
        return await self._ways(WRITE_WAYS, attribute, name, data)

    async def _ways(self, ways: tuple[Way, ...], attribute: Attribute, name: str, data: bytes) -> list[Answer]:
        """Without those that the radio does not send, or the device does not know."""
        found = []
        for way in ways if self.link.has_ways else ():
            doing = f"{way} {name}"
            code = await _code(self.link.ask(way, attribute, data, doing, self._within))
            if code != REQUEST_NOT_SUPPORTED:
                found.append(Answer(code, way))
        return found

    async def changes(self, attribute: Attribute, name: str, data: bytes) -> AsyncIterator[Way]:
        """The other requests that might change a value: each has crossed the air when it is told."""
        offered = getattr(attribute, "properties", ())
        for way in CHANGE_WAYS if self.link.has_ways else ():
            if way == "write command" and "write without response" in offered:
                continue  # an operation of its own
            doing = f"{way} {name}"
            await _code(self.link.ask(way, attribute, data, doing, self._within))
            await self.link.flush(doing, self._within)
            yield way

    async def write(self, attribute: Attribute, name: str, data: bytes) -> Answer:
        return Answer(await _code(self.link.write(attribute, data, f"write {name}", self._within)))

    async def write_unanswered(self, attribute: Attribute, name: str, old: bytes, new: bytes) -> Answer:
        """Write another value without response, and see whether it is there; then put the old one back. AttError where that
        is refused."""
        doing = f"write {name} without response"
        await self.link.write(attribute, new, doing, self._within, response=False)
        await self.link.flush(doing, self._within)
        there = await self.link.read(attribute, f"read {name} back", self._within)
        if there == old:
            return Answer(UNTOLD)
        await self._put_back(attribute, name, old)
        return Answer(data=there)

    async def _put_back(self, attribute: Attribute, name: str, old: bytes) -> None:
        response = "write" in getattr(attribute, "properties", ("write",))
        doing = f"put the value of {name} back"
        await self.link.write(attribute, old, doing, self._within, response=response)
        if not response:
            await self.link.flush(doing, self._within)

    async def other_subscriptions(self, characteristic: Characteristic, name: str) -> list[Answer]:
        """Indications where notifications were asked for, and what else writes to its configuration; off again after it."""
        if not self.link.has_ways:
            return []
        found, switch = list[Answer](), next(each for each in characteristic.descriptors if each.uuid == CCCD)
        kinds = [kind for kind in _ON if kind in characteristic.properties]
        if len(kinds) > 1:
            found.append(replace(await self.subscribe(characteristic, name, indicate=True), way="indications"))
        value = _ON[kinds[0]] if kinds else _ON["notify"]
        found += await self._ways(WRITE_WAYS, switch, name, value)
        await self.link.ask("write command", switch, value, f"subscribe to {name}", self._within)
        if (await self.read(switch, name)).data == value:
            await self.link.ask("write command", switch, bytes(len(value)), f"unsubscribe from {name}", self._within)
            found.append(Answer(way="write command"))
        return found

    async def subscribe(
        self, characteristic: Characteristic, name: str, *, keep: bool = False, indicate: bool = False
    ) -> Answer:
        """Turn on what the characteristic sends, and off again unless it is kept."""
        doing = f"subscribe to {name}"
        subscribing = self.link.subscribe(characteristic, lambda _: None, doing, self._within, indicate=indicate)
        if code := await _code(subscribing):
            return Answer(code)
        if keep:
            self.link.leave_on(characteristic)
        else:
            ending = self.link.unsubscribe(characteristic, f"unsubscribe from {name}", self._within)
            return Answer(NOT_ENDED if await _code(ending) else 0)
        return Answer()


async def _code(request: Awaitable[object]) -> int:
    """The error that it is answered with; 0 for none."""
    try:
        await request
    except AttError as error:
        return error.code
    return 0
