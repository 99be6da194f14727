"""Silence of a device, and its return: what proves it, and what does not."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any, cast

import pytest

from benchrig.radio.absence import Absence, too_short
from benchrig.radio.identity import Identity
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Selection, Sighting
from benchrig.radio.unit import Unit
from benchrig.radio.virtual.clock import VirtualLoop

STATIC, OTHER_STATIC = "C4:00:00:00:00:01", "C4:00:00:00:00:02"
PRIVATE, OTHER_PRIVATE = "44:00:00:00:00:01", "44:00:00:00:00:02"
PUBLIC, OTHER_PUBLIC = "00:11:22:00:00:01", "00:11:22:00:00:02"
UNIT = Selection(name="unit*")


def said(
    address: str, name: str | None = "unit 1", kind: str = "random", data: dict[int, bytes] | None = None
) -> Report:
    return Report(0.0, address, kind, name, -50, (), data or {}, {}, None)


@dataclass
class Scripted:
    """A radio on whose air these are heard, one after the other."""

    heard: list[Report]

    def look_for(self, selection: Selection) -> None:
        """Nothing has to be done for it."""

    @contextlib.asynccontextmanager
    async def scanning(self, on_report: Callable[[Report], object], **_: object) -> AsyncIterator[None]:
        for report in self.heard:
            on_report(report)
        yield


def presence(known: Report, beside: list[Report], later: list[Report], selection: Selection = UNIT) -> Any:
    """What a silent scan says that hears these `later`, of a unit that was heard with others `beside` it."""

    async def main() -> Any:
        radio = Scripted([known, *beside])
        unit = Unit(cast(Radio, radio), selection)
        unit.sighting = Sighting(known.address)
        unit.identity = Identity(known.address, known.address_type, key=selection.key)
        await unit.find(1.0, 2.0)
        radio.heard = later
        return await unit.present(5.0)

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(main())


@pytest.mark.parametrize(
    ("known", "beside", "later", "doubted"),
    [
        (said(STATIC), [], [], False),
        (said(STATIC), [], [said(OTHER_STATIC, "thing")], False),
        (said(STATIC), [], [said(OTHER_STATIC)], True),
        (said(STATIC), [said(OTHER_STATIC)], [said(OTHER_STATIC)], False),
        (said(PUBLIC, kind="public"), [], [said(OTHER_PUBLIC, kind="public")], False),
        (said(PUBLIC, kind="public"), [], [said(OTHER_STATIC)], True),
        (said(PRIVATE), [], [said(OTHER_PRIVATE)], True),
        (said(PRIVATE), [said(OTHER_PRIVATE)], [said(OTHER_PRIVATE)], False),
        (said(PRIVATE), [], [said(OTHER_PRIVATE, None)], True),
        (said(PRIVATE), [], [said(OTHER_PRIVATE, "thing")], False),
        (said(PRIVATE), [], [said(OTHER_STATIC, None)], False),
    ],
)
def test_silence_is_proven_where_nothing_that_was_heard_may_be_the_unit(
    known: Report, beside: list[Report], later: list[Report], doubted: bool
) -> None:
    heard, doubt = presence(known, beside, later)
    assert (heard, bool(doubt)) == (None, doubted)
    assert presence(known, beside, [*later, known]).sighting.address == known.address


def test_other_manufacturer_data_speak_against_a_nameless_device() -> None:
    select = Selection(manufacturer=0xFFFF)
    known = said(PRIVATE, None, data={0xFFFF: b"\1"})
    assert presence(known, [], [said(OTHER_PRIVATE, None, data={0x004C: b"\2"})], select).doubt == ""
    assert "may be the unit" in presence(known, [], [said(OTHER_PRIVATE, None)], select).doubt


def test_a_silence_shorter_than_some_intervals_proves_nothing() -> None:
    assert "prove nothing" in too_short(2.0, 1.0)
    assert (too_short(5.0, 1.0), too_short(0.1, None)) == ("", "")


def test_the_return_is_known_where_somebody_listened_all_the_while() -> None:
    absence = Absence(10.0)
    absence.listened(10.1, 12.0, None)
    absence.listened(12.3, 15.0, 14.0)
    absence.listened(30.0, 31.0, 30.5)
    assert (absence.first_at, absence.why_unknown) == (14.0, "")
    late = Absence(10.0)
    late.listened(12.0, 15.0, 12.1)
    assert "nobody listened for 2 s" in late.why_unknown
