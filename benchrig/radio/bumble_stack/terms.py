"""On what terms one side pairs, and who answers for it, as bumble wants it."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Coroutine
from dataclasses import dataclass
from typing import Any, TypeVar

from benchrig.radio.bumble_stack.bumble_api import Connection, PairingConfig, PairingDelegate, hci, smp
from benchrig.radio.security import Capability, OobData, Party, Protection, Wish
from benchrig.tasks import Tasks
from benchrig.values.passkey import LARGEST_PASSKEY

T = TypeVar("T")

_CAPABILITIES: dict[Capability, PairingDelegate.IoCapability] = {
    "none": PairingDelegate.NO_OUTPUT_NO_INPUT,
    "display": PairingDelegate.DISPLAY_OUTPUT_ONLY,
    "yes/no": PairingDelegate.DISPLAY_OUTPUT_AND_YES_NO_INPUT,
    "keyboard": PairingDelegate.KEYBOARD_INPUT_ONLY,
    "keyboard and display": PairingDelegate.DISPLAY_OUTPUT_AND_KEYBOARD_INPUT,
}
_NO_KEYS = PairingDelegate.KeyDistribution(0)


class Conduct:
    """How a side behaves in a pairing, beside what it says of itself beforehand: this is a sound side, and a unit with a fault
    overrides one method."""

    # whether it looks at what the other side proves: confirm values and DHKey checks
    checks = True
    # whether it pairs with who keeps no keys
    unbonded = True

    async def refusal(self, connection: Connection) -> int:
        """The reason with which it refuses to be paired with now (see REASONS); 0: it goes on."""
        return 0

    def objection(self, agreed: Protection) -> int:
        """The reason with which it refuses what a pairing would come to; 0: it goes on. Asked of the one that answers."""
        return 0

    def hears(self, command: smp.SMP_Command) -> bool:
        """Whether it takes notice of a PDU."""
        return True

    def legacy_key(self, random: bytes) -> bytes:
        """The long term key that it gives out in legacy pairing, 16 octets, least significant first."""
        return random


SOUND = Conduct()


@dataclass(frozen=True)
class Terms:
    """`own_oob` is what the other side may have learned of this one out of band; `gives_identity` tells whether its identity
    key and address are distributed; `name` is what the other side is called, for the bond."""

    wish: Wish
    party: Party
    conduct: Conduct = SOUND
    own_oob: smp.OobContext | None = None
    gives_identity: bool = True
    name: str = ""

    @property
    def offers_secure_connections(self) -> bool:
        """A temporary key fits legacy pairing alone."""
        return self.wish.pairing != "legacy" and not (self.wish.oob and self.wish.oob.key)


class Passkey(int):
    """000000 too: bumble asserts that a passkey is true."""

    def __bool__(self) -> bool:
        return True


class Delegate(PairingDelegate):
    """`error` is what kept the party, or the place of the bonds, from doing its part; `is_late` tells that the pairing ended
    while the party had yet to answer. `end` takes back the questions that are open."""

    def __init__(self, terms: Terms) -> None:
        wish = terms.wish
        keys = self.DEFAULT_KEY_DISTRIBUTION if terms.gives_identity else self.KeyDistribution.DISTRIBUTE_ENCRYPTION_KEY
        own, others = (keys, self.DEFAULT_KEY_DISTRIBUTION) if wish.bonding else (_NO_KEYS, _NO_KEYS)
        super().__init__(_CAPABILITIES[wish.capability], own, others, wish.key_size)
        self.terms = terms
        self.error: Exception | None = None
        self.peer_bonds = True
        self.is_late = False
        self._awaited = 0
        self._tasks = Tasks()
        self._open: set[asyncio.Task[Any]] = set()

    async def _ask(self, question: Coroutine[Any, Any, T]) -> T:
        task = self._tasks.start(question)
        self._open.add(task)
        try:
            return await task
        except Exception as exc:
            self.error = exc
            raise
        finally:
            self._open.discard(task)

    async def _answer(self, question: Coroutine[Any, Any, T]) -> T:
        """What the pairing waits for."""
        self._awaited += 1
        try:
            return await self._ask(question)
        finally:
            self._awaited -= 1

    def end(self) -> None:
        self.is_late = self.is_late or bool(self._awaited)
        for task in self._open - {asyncio.current_task()}:
            self._tasks.drop(task)

    async def compare_numbers(self, number: int, digits: int) -> bool:
        return await self._answer(self.terms.party.compare(number))

    async def get_number(self) -> int | None:
        number = await self._answer(self.terms.party.enter())
        return None if number is None else Passkey(number)

    async def generate_passkey(self) -> int:
        chosen = self.terms.party.chosen()
        return Passkey(secrets.randbelow(LARGEST_PASSKEY + 1) if chosen is None else chosen)

    async def display_number(self, number: int, digits: int) -> None:
        # who waits for this is bumble, which looks at no error
        await asyncio.gather(self._show(int(number)), return_exceptions=True)

    async def _show(self, number: int) -> None:
        await self._ask(self.terms.party.show(number))

    async def key_distribution_response(self, initiator: int, responder: int) -> tuple[int, int]:
        """Keys are given where both sides bond. As the one that answers, its own are the responder's."""
        if not self.peer_bonds:
            return 0, 0
        own, others = self.local_initiator_key_distribution, self.local_responder_key_distribution
        return int(initiator & others), int(responder & own)


def config_of(terms: Terms, identity_type: hci.AddressType) -> PairingConfig:
    return PairingConfig(
        sc=terms.offers_secure_connections,
        mitm=terms.wish.mitm,
        bonding=terms.wish.bonding,
        delegate=Delegate(terms),
        identity_address_type=PairingConfig.AddressType(identity_type),
        oob=_oob(terms),
    )


def _oob(terms: Terms) -> PairingConfig.OobConfig | None:
    """bumble wants a context of one's own wherever there is out-of-band data. It takes numbers least significant first."""
    known = terms.wish.oob or OobData()
    if not terms.wish.oob and not terms.own_oob:
        return None
    shared = smp.OobSharedData(c=known.confirm[::-1], r=known.random[::-1]) if known.random else None
    legacy = smp.OobLegacyContext(tk=known.key[::-1]) if known.key else None
    return PairingConfig.OobConfig(terms.own_oob or smp.OobContext(), shared, legacy)
