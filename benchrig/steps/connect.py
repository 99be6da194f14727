"""connect and disconnect: the link to the unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar, Literal

import msgspec

from benchrig.errors import ConnectUnanswered
from benchrig.radio.turns import Use
from benchrig.source.problem import Problems
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.returning import RETURN, listen_again, report_return
from benchrig.values.limit import Limit, ReadingLimit

if TYPE_CHECKING:
    from benchrig.radio.scan import Ear

_LOOK_EVERY = 0.02
CONNECTED = "connected"
# One request may be lost on the air: so many in a row without an answer are the unit's word.
UNANSWERED = 5
# Seconds for which a unit that was never heard is listened for, and what connecting takes beside that.
LISTENS, CONNECTS = 2.0, 1.0


class Connect(Step, kw_only=True):
    """Connect to the unit that was found; listens for it first when there was no scan.

    `fresh` lets the radio forget the unit before, so that its table is read anew (after a firmware change). A `stranger` has
    an address that the unit has not seen: what a unit does for bonded benches alone it must not do for that one.
    """

    verb: ClassVar[str] = "connect"
    uses: ClassVar[Use] = Use.CONNECT
    within_default: ClassVar[float] = 10.0
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})

    connect: None
    fresh: bool = False
    as_: Literal["station", "stranger"] = msgspec.field(name="as", default="station")

    @classmethod
    def given_by(cls, node: MappingNode) -> frozenset[Cap]:
        """No link where the unit has to refuse it."""
        return NOTHING if _has_to_refuse(_limit_on_connected(node)) else cls.gives

    @classmethod
    def used_by(cls, node: MappingNode) -> Use:
        """The bench has its address changed only while nobody else scans or connects."""
        written = node.get("as")
        return Use.ALONE if isinstance(written, Scalar) and written.value == "stranger" else cls.uses

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.attempts > 1 and CONNECTED in {**self.expect, **self.save}:
            yield Misfit(
                "connected and attempts: the step tries several times itself", "take out attempts", ("attempts",)
            )
        for name in {**self.expect, **self.save} if _has_to_refuse(self.expect.get(CONNECTED)) else ():
            if name != CONNECTED:
                key = "expect" if name in self.expect else "save"
                yield Misfit(f"a connection that is refused has no {name}", "put it into another connect", (key, name))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "elapsed": ReadingType("number", "s", "from the request to a link with its attribute table read"),
            "attempts": ReadingType("number", "", "attempts that were needed"),
            CONNECTED: ReadingType("boolean", "", "whether the unit answered the connection request"),
            "payload": ReadingType("number", "bytes", "bytes that one write without response carries"),
            **RETURN,
        }

    async def run(self, bench: Bench) -> None:
        await listen_again(bench)
        report_return(bench)
        started = await self._connected(bench)
        if started is None:
            return
        bench.reading("elapsed", bench.since(started), "s")
        if bench.wanted("attempts"):
            bench.reading("attempts", bench.attempt)
        if bench.wanted("payload"):
            bench.reading("payload", await bench.link.settled_payload(), "bytes")
        if _has_to_refuse(self.expect.get(CONNECTED)):
            await bench.disconnect()

    async def _connected(self, bench: Bench) -> float | None:
        """When it was asked for; None for a unit that answered no request, where the plan asks for that. One that is not heard
        proves nothing."""
        for unanswered in range(1, UNANSWERED + 1):
            try:
                started = await bench.connect(bench.time_left, fresh=self.fresh, stranger=self.as_ == "stranger")
                break
            except ConnectUnanswered:
                if not bench.wanted(CONNECTED):
                    raise
                if unanswered == UNANSWERED:
                    bench.reading(CONNECTED, value=False)
                    return None
        if bench.wanted(CONNECTED):
            bench.reading(CONNECTED, value=True)
        return started


def _limit_on_connected(node: MappingNode) -> object:
    """As it is written."""
    expected = node.get("expect")
    written = expected.get(CONNECTED) if isinstance(expected, MappingNode) else None
    if written is None or has_reference(written):
        return None
    return Reader(Problems()).read(written, ReadingLimit)


def _has_to_refuse(limit: object) -> bool:
    """Whether only a refusal satisfies the limit."""
    if not isinstance(limit, Limit):
        return False
    try:
        bound = limit.bind("boolean")
    except Misfit:  # told where the limits are checked
        return False
    return bound.passes(False) and not bound.passes(True)


class Disconnect(Step, kw_only=True):
    """End the link; with a limit on `advertises_after` also wait until the unit advertises again."""

    verb: ClassVar[str] = "disconnect"
    uses: ClassVar[Use] = Use.HEAR
    ends: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    within_default: ClassVar[float] = 15.0

    disconnect: None

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "elapsed": SECONDS,
            "unasked": ReadingType("number", "", "values that the unit sent on this link without a subscription"),
            "advertises_after": ReadingType("number", "s", "from the disconnection to the first report of the unit"),
        }

    async def run(self, bench: Bench) -> None:
        if bench.wanted("unasked"):
            _report_unasked(bench)
        started = bench.now()
        await bench.disconnect()
        ended = bench.now()
        bench.reading("elapsed", bench.since(started), "s")
        if bench.wanted("advertises_after"):
            await self._report_advertising(bench, ended)

    async def _report_advertising(self, bench: Bench, ended: float) -> None:
        async with bench.device.unit.listening() as ear:
            heard = await self._listen(bench, ear)
        if heard is None:
            await bench.check_radio()
        if heard is None and any(map(bench.device.unit.may_be, ear.heard.values())):
            why = "the unit's address changes, and what was heard under another one may be another device"
            bench.not_measured("advertises_after", why)
        after = None if heard is None else round(heard - ended, 6)
        bench.reading("advertises_after", after, "s", why="the unit was not heard again in the time of the step")

    async def _listen(self, bench: Bench, ear: Ear) -> float | None:
        """When the unit was heard again; None when the time is over."""
        deadline = bench.now() + bench.time_left * 0.9
        while bench.now() < deadline:
            for sighting in ear.heard.values():
                if bench.device.unit.is_same(sighting):
                    return float(sighting.first_at)
            await bench.pause(_LOOK_EVERY)
        return None


def _report_unasked(bench: Bench) -> None:
    if lacks := bench.lacks("unasked"):
        bench.not_measured("unasked", lacks)
    else:
        bench.reading("unasked", bench.device.unasked)
