"""A device under bad requests: sends them link by link, looks after each link whether it is as it was, brings it back when it
has died, and finds what kills it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from benchrig.errors import BenchrigError, ConnectFailed, DeviceError, DeviceNotFound, LinkLost, NoAnswer
from benchrig.radio.security import LINK_LOST, NONE
from benchrig.requests.request import HARMLESS, Reconnect, Request, Storm
from benchrig.requests.shrinking import amplified, extent, first_that, joined, shrunk, tails
from benchrig.requests.wording import text_of
from benchrig.steps.power import power_cycled
from benchrig.steps.sending import ENDED_BY_DEVICE, NO_ANSWER, Sender
from benchrig.steps.survey import Survey

if TYPE_CHECKING:
    from benchrig.steps.bench import Bench

# So many requests go over one link; then it is made anew, and the device looked at.
PER_LINK = 40
# Links in a row that end, and nothing shows that it is the device's doing: more of them, and nothing can be tested here.
MOST_LOST = 3
# Wrong answers that are told one by one.
MOST_TOLD = 50
# Of what a device has had so many requests are tried again, where it has died.
MOST_HISTORY = 1000
_TRIES, _BETWEEN, _CONNECTS, _RESERVE = 3, 0.25, 10.0, 1.0


async def is_to_encrypt(bench: Bench) -> bool:
    """Whether later links can be encrypted as this one is. One that is encrypted, and none after it can be, is made anew:
    what is read over it is no measure for those that follow."""
    security = bench.link.security
    if not security.level:
        return False
    if not security.is_bonded:
        await bench.device.close()
        await bench.connect(_CONNECTS)
    return security.is_bonded


@dataclass
class Findings:
    """What came of it. `how` the device died, '' for one that lives; `killer` are the requests that do it."""

    requests: int = 0
    answered: int = 0
    slowest: float = 0.0
    wrong: list[str] = field(default_factory=list)
    wrong_count: int = 0
    tried: dict[str, int] = field(default_factory=dict)
    lost_links: int = 0
    # of these, those that as many harmless requests did not lose, and whether one was the device's own doing
    unexplained: int = 0
    by_device: bool = False
    how: str = ""
    killer: list[Request] = field(default_factory=list)
    # whether the killer was tried on its own, and killed
    proven: bool = False


class Ordeal:
    """`answers_within` is the time for an answer, `returns_within` that for a device to come back after its death."""

    def __init__(
        self, bench: Bench, survey: Survey, answers_within: float, returns_within: float, *, encrypts: bool
    ) -> None:
        self.findings = Findings()
        self._bench, self._survey = bench, survey
        self._answers_within, self._returns_within = answers_within, returns_within
        # all that the device has had since it was last as new
        self._history: list[Request] = []
        # so many of them it had when it was looked at last; and the writes that put a value back, when it died of these
        self._looked_at, self._fatal = 0, list[Request]()
        self._on_link = self._lost_in_a_row = 0
        self._deadline = bench.now() + bench.time_left - _RESERVE
        self._sender: Sender | None = None
        self._raw = contextlib.ExitStack()
        self._is_gone = self._is_trial = False
        self._encrypts = encrypts
        self._how = ""

    async def bear(self, cases: Iterable[tuple[str, Sequence[Request]]], count: int) -> None:
        """Send cases until there were so many requests, or the device has died. Leaves it connected where it lives."""
        try:
            for kind, case in cases:
                if self.findings.requests >= count or self._is_over:
                    break
                await self._bear_case(kind, case)
            if not self.findings.how:
                await self._end_of_link()
        finally:
            self._raw.close()
        if self.findings.how and not self._is_gone and not await self._survey.restore(self._bench):
            await self._revive()

    @property
    def _is_over(self) -> bool:
        return bool(self.findings.how) or self._left < 2 * self._answers_within

    @property
    def _left(self) -> float:
        """Seconds until the time of the step is over, but for what it takes to tell what was found."""
        return max(0.1, self._deadline - self._bench.now())

    async def _bear_case(self, kind: str, case: Sequence[Request]) -> None:
        for request in case:
            self.findings.requests += 1
            self.findings.tried[kind] = self.findings.tried.get(kind, 0) + 1
            self._history.append(request)
            if symptom := await self._carry_out(request):
                await self._suspected(symptom)
                return
        if self._on_link >= PER_LINK:
            await self._end_of_link()

    async def _end_of_link(self) -> None:
        self._history.append(Reconnect(1))
        if symptom := await self._look():
            await self._suspected(symptom)
        else:
            self._lost_in_a_row, self._looked_at = 0, len(self._history)

    # --- one request

    async def _carry_out(self, request: Request) -> str:
        """What is the matter with the device after it, '' for nothing."""
        if isinstance(request, Reconnect):
            return await self._reconnect(request.times)
        sender = self._sender or self._begin()
        outcome = await sender.carry_out(request)
        self._on_link += 1
        if not self._is_trial:
            self.findings.answered += outcome.answered
            self.findings.slowest = max(self.findings.slowest, outcome.took)
            for wrong in outcome.wrong:
                self._tell_wrong(f"{text_of(request)}: {wrong}")
        if outcome.symptom or not outcome.unsettled:
            return outcome.symptom
        return await self._reconnect(1)

    def _tell_wrong(self, sentence: str) -> None:
        self.findings.wrong_count += 1
        if sentence not in self.findings.wrong and len(self.findings.wrong) < MOST_TOLD:
            self.findings.wrong.append(sentence)

    def _begin(self) -> Sender:
        link = self._bench.link
        raw = self._raw.enter_context(link.raw())
        self._sender = Sender(link, raw, self._survey.target, self._answers_within, self._bench.now)
        self._on_link = 0
        return self._sender

    # --- links

    async def _reconnect(self, times: int) -> str:
        for _ in range(times):
            await self._leave()
            if symptom := await self._connect(_CONNECTS):
                return symptom
        return ""

    async def _leave(self) -> None:
        self._raw.close()
        self._sender = None
        with contextlib.suppress(BenchrigError):
            await self._bench.device.close()

    async def _connect(self, within: float) -> str:
        """Why there is no new link, '' for one. A device may need some tries: requests are lost on every air."""
        deadline, why = self._bench.now() + min(within, self._left), ""
        for tries in range(_TRIES, 0, -1):
            left = deadline - self._bench.now()
            try:
                await self._bench.connect(max(0.1, left / tries), again=tries < _TRIES)
                return await self._encrypted() if self._encrypts else ""
            except (ConnectFailed, DeviceNotFound, DeviceError, LinkLost) as error:
                why = error.message
                await self._blame(error)
            await asyncio.sleep(_BETWEEN)
        return f"it does not come back: {why}"

    async def _encrypted(self) -> str:
        """Encrypt the new link, as the first one was. A device that does not know its bond any more has lost something."""
        failure = (await self._bench.link.security.encrypt()).failure
        if failure == LINK_LOST:
            return "the link was lost while it was encrypted"
        if failure != NONE:
            self._encrypts = False
            self._tell_wrong(f"the link could be encrypted before, and no longer: {failure}")
        return ""

    async def _blame(self, error: BenchrigError) -> None:
        """What the device did against the protocol is no matter of the air. StationError where the radio is to blame."""
        try:
            await self._bench.check_radio()
        except DeviceError as known:
            error = known
        if isinstance(error, DeviceError) and not isinstance(error, NoAnswer):
            self._tell_wrong(f"on a new link: {error.message}")

    async def _look(self) -> str:
        """Over a new link: whether the device is as it was."""
        return await self._reconnect(1) or await self._compare()

    async def _compare(self) -> str:
        """Over this link; what the plan lets change is put back."""
        self._survey.putting = []
        try:
            changed = await self._survey.look(self._bench)
        except (DeviceError, LinkLost) as error:
            self._fatal = [*self._survey.putting] or self._fatal
            await self._blame(error)
            return error.message
        for sentence in changed:
            self._tell_wrong(sentence)
        return ""

    # --- death

    async def _suspected(self, symptom: str) -> None:
        """The device seems to have died: bring it back, and see whether what it had kills it again."""
        had, self._history = self._history[-MOST_HISTORY:], []
        since, self._looked_at = len(had) - self._looked_at, 0
        if not await self._revive():
            self._dead(symptom, had[-PER_LINK:], proven=False)
            return
        if killer := await self._killer_of(had, since):
            self._dead(self._how or symptom, killer, proven=True)
        else:
            await self._innocent(symptom)

    async def _killer_of(self, had: Sequence[Request], since: int) -> list[Request]:
        """The shortest list that kills, of what the device had, `since` it was looked at the last few; [] for none."""
        self._is_trial = True
        try:
            own = await self._own_values()
            killer = own or await first_that(_suspects(had, since), self._kills_again)
            # on an air that ends every link it does not matter what is sent
            if not killer or (not self._is_gone and await self._loses_harmless(extent(killer), times=2)):
                return await self._own_values()
            return own or await self._own_values() or await self._shrunk(killer)
        finally:
            self._is_trial = False

    async def _own_values(self) -> list[Request]:
        """A device may die of a value of its own, which is put back when another one is there: both writes, if they kill."""
        fatal, self._fatal = self._fatal, []
        return fatal if fatal and await self._kills_again(fatal, as_it_is=True) else []

    async def _loses_harmless(self, count: int, times: int = 1) -> bool:
        """Whether so many links end, of which each has so many requests that harm nothing."""
        for _ in range(times):
            symptom = await self._trial_of_harmless(count)
            if not symptom or not await self._revive():
                return bool(symptom)
        return True

    async def _trial_of_harmless(self, count: int) -> str:
        """As long as a trial; but no value is put back: that could be what kills."""
        requests = [HARMLESS] * count
        symptom = await self._reconnect(1) or await self._read()
        return symptom or await self._sent(requests) or await self._reconnect(1) or await self._read()

    async def _read(self) -> str:
        try:
            await self._survey.read(self._bench)
        except (DeviceError, LinkLost) as error:
            return error.message
        return ""

    async def _shrunk(self, killer: list[Request]) -> list[Request]:
        found = joined(await shrunk(killer, self._kills_again, self._may_go_on))
        return await self._own_values() or found

    def _may_go_on(self) -> bool:
        return not self._is_gone and self._left > self._returns_within + 2 * self._answers_within

    def _dead(self, symptom: str, killer: list[Request], *, proven: bool) -> None:
        self.findings.how, self.findings.killer, self.findings.proven = symptom, killer, proven

    async def _innocent(self, symptom: str) -> None:
        """What was sent does not do it again: a link ends on every air now and then."""
        self.findings.lost_links += 1
        self.findings.unexplained += not await self._loses_harmless(PER_LINK)
        self.findings.by_device |= NO_ANSWER in symptom or any(reason in symptom for reason in ENDED_BY_DEVICE)
        self._lost_in_a_row += 1
        self._bench.note(f"{symptom}; the same requests did not do it again, so they are not to blame")
        if self._lost_in_a_row > MOST_LOST:
            raise LinkLost(
                f"{self._lost_in_a_row} links in a row were lost, and the same requests did not do it again ({symptom})",
                advice="bring the unit nearer, or see what disturbs the air",
            )

    async def _kills_again(self, requests: Sequence[Request], *, as_it_is: bool = False) -> bool:
        """Whether it does twice in a row: once could be the air."""
        kills = partial(self._kills, requests, as_it_is=as_it_is)
        return not self._is_gone and await kills() and (self._is_gone or await kills())

    async def _kills(self, requests: Sequence[Request], *, as_it_is: bool) -> bool:
        symptom = await self._trial(requests, as_it_is=as_it_is)
        if symptom:
            self._how = symptom
            await self._revive()
        return bool(symptom)

    async def _trial(self, requests: Sequence[Request], *, as_it_is: bool) -> str:
        """On a device with its own values, unless it is to be taken `as_it_is`."""
        symptom = await self._reconnect(1)
        if not symptom and not as_it_is:
            symptom = await self._compare()
        # nothing was sent yet, so nothing is to blame for this
        if symptom and not await self._revive():
            return symptom
        return await self._sent(requests) or await self._look()

    async def _sent(self, requests: Sequence[Request]) -> str:
        for request in requests:
            if symptom := await self._carry_out(request):
                return symptom
        return ""

    async def _revive(self) -> bool:
        """A new link to the device, by its power where nothing else helps; False, and nothing more to be done, for none."""
        await self._leave()
        if await self._connect(self._returns_within) and not await self._repowered():
            self._is_gone = True
        return not self._is_gone

    async def _repowered(self) -> bool:
        if not await power_cycled(self._bench):
            return False
        return not await self._connect(self._returns_within)


def _suspects(had: Sequence[Request], since: int) -> Iterator[list[Request]]:
    """What may have killed a device that had these requests: the last one; one of them, often; the last few; those `since` it
    was looked at; one subscription, very often; all of them."""
    last, *longer = tails(had)
    yield last
    yield from ([single] for single in amplified(had))
    yield from longer[:-1]
    yield list(had[-since:]) if 0 < since < len(had) else []
    for single in amplified(had, longer=True):
        if isinstance(single, Storm):
            yield [single]
    yield from longer[-1:]
