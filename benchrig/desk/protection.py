"""What the attributes of a device ask for: the operations over links of rising protection, each paired for without a bond."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from benchrig.access.asking import Asking
from benchrig.access.measuring import Measured, Measuring
from benchrig.desk.desk import Desk
from benchrig.desk.inspecting import handles_of
from benchrig.desk.refusals import REFUSALS, Refusal, Typing
from benchrig.desk.securing import Remembering, wish_of
from benchrig.errors import DeviceError, LinkError, UsageError
from benchrig.radio.security import NONE, PAIRING_FOR, SMALLEST_KEY, Capability, Level, Paired, Party, Wish
from benchrig.steps.pairing_readings import failure_words
from benchrig.steps.patience import Patience

if TYPE_CHECKING:
    from benchrig.radio.link import Link

# Seconds for each link.
_WITHIN = 60.0
# Seconds after the last refusal, where nothing shows how long the device takes no other pairing.
UNKNOWN = 16.0
FORGET = "forget the bond: benchrig bonds clear, and let the device forget it too"


@dataclass
class Protection:
    """What was measured. `unreached` says of a level why there is no link like that; `broken` why not all was tried, ''
    where it was."""

    capability: Capability | None = None
    measured: list[Measured] = field(default_factory=list)
    unreached: dict[Level, str] = field(default_factory=dict)
    reached: list[Level] = field(default_factory=list)
    broken: str = ""
    # the pairings that the device has refused, and how long at most it took no other one after the first
    refusals: list[Refusal] = field(default_factory=list)
    waited: float = 0.0
    # whether it took a passkey that it had not shown
    is_unchecked: bool = False


def ways(capability: Capability | None) -> Iterator[tuple[Level, Wish]]:
    """How to get to each level as what has this capability: None pairs for none of them."""
    if capability is None:
        return
    for level, pairing in PAIRING_FOR.items():
        if level is Level.ENCRYPTED or capability != "none":
            wish = wish_of("none" if level is Level.ENCRYPTED else capability, bonding=False)
            yield level, replace(wish, pairing=pairing)


async def measure(desk: Desk, capability: Capability | None, writes: Sequence[str] = ()) -> Protection | None:
    """Over links of its own; the one that is there is closed. `writes` are the names of attributes that may be written with
    the value that is there. None where the radio does not show refusals. UsageError for a device that is bonded."""
    alone = replace(desk, options=replace(desk.options, pair=None))
    found = Protection(capability)
    return await _Measurement(alone, Measuring(), [*ways(capability)], writes, found).run()


@dataclass
class _Measurement:
    desk: Desk
    measuring: Measuring
    ways: list[tuple[Level, Wish]]
    writes: Sequence[str]
    found: Protection
    _patience: Patience = field(default_factory=Patience)
    _party: Remembering = field(init=False)

    def __post_init__(self) -> None:
        self._party = Remembering(self.desk.party)

    async def run(self) -> Protection | None:
        try:
            if not (await self._fresh()).has_ways:
                return None
            await self._all()
        except (LinkError, DeviceError) as error:
            self.found.broken = error.message
        self.found.measured = [*self.measuring.found.values()]
        await self.desk.device.close()
        return self.found

    async def _all(self) -> None:
        """A write needs a value, which a later link may be the first to tell: then the links before it are made again."""
        if self.desk.device.link.security.is_bonded:
            raise UsageError("what a device asks for is not seen through a bond", advice=FORGET)
        self.measuring.writes = frozenset(handles_of(self.desk, self.writes))
        await self._over(Level.NO_SECURITY)
        for level, wish in self.ways:
            await self._paired(level, wish)
        if self.writes:
            await self._fresh()
            await self._over(Level.NO_SECURITY)
            for level, wish in self.ways:
                if level in self.found.reached:
                    await self._paired(level, wish)
        if self.found.capability is not None:
            await self._short_key(wish_of(self.found.capability, bonding=False))
            await self._wrong_passkey(wish_of(self.found.capability, bonding=False))
        await self._patience.before(otherwise=UNKNOWN)  # who pairs next does not suffer from the last refusal
        self.found.waited = self._patience.bound or 0.0

    async def _pair(self, what: str, wish: Wish, party: Party) -> tuple[Link, Paired]:
        """On a link of its own. A device that has refused a pairing takes no other one for a while."""
        await self._patience.before()
        while True:
            link = await self._fresh()
            paired = await link.security.pair(wish, party)
            if not self._patience.goes_on(paired):
                break
            self.desk.tell("the device refuses more attempts for a while: waiting")
            await self._patience.wait()
        if paired.failed_by == "device" and paired.failure in REFUSALS:
            self.found.refusals.append(Refusal(what, wish, paired))
        return link, paired

    async def _wrong_passkey(self, wish: Wish) -> None:
        """Whether the device checks what the person types."""
        if (wrong := self._party.another) is None:
            return
        self.desk.tell("pairing with a wrong passkey")
        _, paired = await self._pair("a wrong passkey", wish, Typing(wrong))
        if paired.failed_by == "device" and self.found.refusals:
            self.found.refusals[-1] = replace(self.found.refusals[-1], passkey=wrong)
        self.found.is_unchecked = paired.failure == NONE or paired.failed_by == "bench"

    async def _short_key(self, wish: Wish) -> None:
        """Whether anything wants a longer key; a device that refuses a short one asks no attribute for it."""
        self.desk.tell(f"pairing with a key of {SMALLEST_KEY} bytes")
        link, paired = await self._pair("a short key", replace(wish, key_size=SMALLEST_KEY), self._party)
        if paired.failure == NONE and paired.key_size == SMALLEST_KEY:
            await self.measuring.over_short_key(self._asking(link), link.table)

    async def _paired(self, level: Level, wish: Wish) -> None:
        self.desk.tell(f"pairing for the level {level.words}")  # the line below is for the person's answer
        link, paired = await self._pair(level.words, wish, self._party)
        if paired.failure != NONE:
            self.found.unreached[level] = f"the pairing failed: {failure_words(paired.failure, paired.failed_by)}"
        elif link.security.level is not level:
            actual = link.security.level
            self.found.unreached[level] = f"the link was {actual.words if actual is not None else 'not known'}"
        else:
            await self._over(level)

    async def _over(self, level: Level) -> None:
        link = self.desk.device.link
        async with self.desk.showing(f"trying what is allowed: {level.words}"):
            await self.measuring.over(self._asking(link), link.table, level)
        self.found.reached += [level] if level not in self.found.reached else []

    def _asking(self, link: Link) -> Asking:
        ends = self.desk.now() + _WITHIN
        return Asking(link, lambda: max(0.1, ends - self.desk.now()))

    async def _fresh(self) -> Link:
        await self.desk.device.close()
        return await self.desk.connect()
