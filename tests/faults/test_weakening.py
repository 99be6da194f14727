"""Every way in which a device could ask for less, and that each is one."""

import pytest

from benchrig.faults.weakening import weakenings
from tests.radio.virtual.bench import Bench, models
from tests.radio.virtual.central import read, unit, write

ATTRIBUTES = [
    "name: limit, properties: [read, write, notify], read_needs: encrypted, write_needs: authenticated, "
    "subscribe_needs: encrypted, key_size_needed: 16, descriptors: "
    "[{descriptor: user description, value: x, writable: true, write_needs: secure connections}]",
    "name: old, properties: [read, write], encrypted: true",
    "name: secret, properties: [read], authorized: false",
    "name: open, properties: [read]",
]
EXPECTED = [
    "limit: read_needs nothing",
    "limit: write_needs nothing",
    "limit: write_needs encrypted",
    "limit: subscribe_needs nothing",
    "limit: any size of the key",
    "limit/user description: write_needs nothing",
    "limit/user description: write_needs encrypted",
    "limit/user description: write_needs authenticated",
    "old: read_needs nothing",
    "old: write_needs nothing",
    "secret: nobody needs authorization",
]


def test_each_requirement_is_lost_once():
    (sound,) = models(unit("capability: display", attributes=ATTRIBUTES))
    found = list(weakenings(sound))
    assert [one.name for one in found] == EXPECTED
    broken = [one.apply(sound) for one in found]
    assert len({str(one.services) for one in [sound, *broken]}) == len(EXPECTED) + 1
    assert all(list(one.misfits()) == [] for one in broken)


@pytest.mark.slow
async def test_what_is_lost_is_not_asked_for():
    async with Bench(unit(attributes=ATTRIBUTES)) as bench:
        client = await bench.connect("unit")
        sound = (await read(client, 3), await write(client, 3))
    (spec,) = models(unit(attributes=ATTRIBUTES))
    lost = []
    for weaker in [one for one in weakenings(spec) if one.name.startswith("old")]:
        bench = Bench(unit(attributes=ATTRIBUTES))
        bench.models = [weaker.apply(spec)]
        async with bench:
            client = await bench.connect("unit")
            lost.append((await read(client, 3), await write(client, 3)))
    assert (sound, lost) == ((5, 5), [(0, 5), (5, 0)])
