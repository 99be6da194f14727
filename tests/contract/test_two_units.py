"""Two units at once on one radio: both links are up, each answers for itself, and both streams are whole."""

from __future__ import annotations

import asyncio
from typing import Any

from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Ear, Selection
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.radio.table import Characteristic, Segment
from benchrig.values.catalogue import normal_uuid

TEMPERATURE = normal_uuid("2A6E")
WITHIN = 10.0


async def connected(radio: Radio, *names: str) -> list[Link]:
    ear = Ear()
    selections = [Selection(name=name) for name in names]
    async with asyncio.timeout(WITHIN), radio.scanning(ear.add):
        while not all(ear.selected(selection) for selection in selections):
            await asyncio.sleep(0.02)
    return [await radio.connect(ear.selected(selection)[0], WITHIN) for selection in selections]


def temperature(link: Link) -> Any:
    return link.table.find([Segment(TEMPERATURE)])[0].attribute


async def listen(link: Link, count: int) -> list[bytes]:
    heard: list[bytes] = []
    enough = asyncio.Event()

    def take(data: bytes) -> None:
        heard.append(bytes(data))
        if len(heard) >= count:
            enough.set()

    characteristic = temperature(link)
    assert isinstance(characteristic, Characteristic)
    await link.subscribe(characteristic, take, "subscribe", WITHIN)
    async with asyncio.timeout(WITHIN):
        await enough.wait()
    await link.unsubscribe(characteristic, "unsubscribe", WITHIN)
    return heard[:count]


async def both(radio: Radio) -> tuple[list[bytes], list[list[bytes]]]:
    await radio.prepare(Selection(name="twin *"))
    try:
        links = await connected(radio, "twin one", "twin two")
        values = await asyncio.gather(*(link.read(temperature(link), "read", WITHIN) for link in links))
        return values, await asyncio.gather(*(listen(link, 20) for link in links))
    finally:
        await radio.close()


def test_two_units_at_once(radio: str) -> None:
    choice = RadioChoice.parse(radio)

    async def main() -> Any:
        return await both(await radio_opener(choice)())

    with asyncio.Runner(loop_factory=loop_factory(choice)) as runner:
        values, streams = runner.run(main())
    one, two = (100).to_bytes(2, "little"), (200).to_bytes(2, "little")
    assert values == [one, two]
    assert streams == [[one] * 20, [two] * 20]
