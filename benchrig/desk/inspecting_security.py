"""The part of an inspection that pairs: what the pairing comes to, what can be read with it, what can be written without."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchrig.desk.desk import READ_WITHIN, Desk
from benchrig.desk.inspection import (
    GUARDED,
    CharacteristicSeen,
    Guarded,
    SecuritySeen,
    ServiceSeen,
)
from benchrig.desk.paths import attributes_in
from benchrig.desk.securing import Remembering, level_text, wish_of
from benchrig.errors import AttError, LinkError, NoAnswer
from benchrig.radio.security import NONE, Capability, Paired
from benchrig.steps.lookup import look_up
from benchrig.values.att_errors import INSUFFICIENT

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.table import Attribute


@dataclass(frozen=True)
class PairingLook:
    """As what to pair; `twice` to see whether the passkey is the same. `writes` are attributes whose own value is written
    without security, where reading needs it."""

    capability: Capability
    twice: bool = False
    writes: tuple[str, ...] = ()


async def look_paired(
    desk: Desk, look: PairingLook, services: list[ServiceSeen], again: Callable[[], Awaitable[list[ServiceSeen]]]
) -> tuple[SecuritySeen, list[ServiceSeen]]:
    """Pair, and look at the table once more: what was refused before and is read now is guarded."""
    party = Remembering(desk.party)
    seen = await _pair(desk, look.capability, party)
    if seen.failure:
        return seen, services
    before, services = services, await again()
    _guard(before, services)
    try:
        if look.twice:
            await _connect_anew(desk)
            if not (await _pair(desk, look.capability, party)).failure:
                seen.same_passkey = party.shows_one_passkey
        if look.writes:
            await _write_openly(desk, look.writes, services)
    except (LinkError, NoAnswer) as error:
        desk.tell(f"the inspection is not whole: {error.message}")
    return seen, services


def _guard(before: Sequence[ServiceSeen], after: Sequence[ServiceSeen]) -> None:
    """Note at each attribute what it answered before."""
    known = dict(attributes_in(before))
    for place, seen in attributes_in(after):
        was = known.get(place)
        if was is not None and seen.content is not None and (was.refused in INSUFFICIENT or was.unread == GUARDED):
            seen.guarded = Guarded(was.unread, was.refused)


async def _connect_anew(desk: Desk) -> None:
    await desk.device.close()
    await desk.radio.tidy()
    await desk.connect()


async def _write_openly(desk: Desk, names: Sequence[str], services: Sequence[ServiceSeen]) -> None:
    """Write its own value to each of these attributes over a link without security, where reading needed some."""
    await _connect_anew(desk)
    seen = {each.handle: each for _, each in attributes_in(services)}
    for name in names:
        attribute = look_up(desk.device.link.table, desk.names, name, ("write",)).found.attribute
        written = seen.get(attribute.handle)
        if isinstance(written, CharacteristicSeen) and written.guarded and written.content:
            written.written_open = await _takes(desk, attribute, written.content.data, name)


async def _takes(desk: Desk, attribute: Attribute, data: bytes, name: str) -> bool:
    try:
        async with desk.showing(f"writing {name}"):
            await desk.device.link.write(attribute, data, f"write {name}", READ_WITHIN)
    except AttError:
        return False
    return True


async def _pair(desk: Desk, capability: Capability, party: Remembering) -> SecuritySeen:
    link = desk.device.link
    paired = await link.security.pair(wish_of(capability), party)
    return _seen(capability, paired, link)


def _seen(capability: Capability, paired: Paired, link: Link) -> SecuritySeen:
    level = level_text(link.security.level) if link.is_up else ""
    return SecuritySeen(
        capability,
        "" if paired.failure == NONE else paired.failure,
        paired.failed_by or "",
        paired.method,
        paired.secure_connections,
        paired.authenticated,
        paired.bonded,
        paired.key_size,
        paired.identity_address,
        level,
        features=paired.features,
    )
