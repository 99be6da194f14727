"""What a simulated device does beside what it should: when, and to what end."""

import msgspec
import pytest

from benchrig.radio.virtual import block, open_air
from benchrig.radio.virtual.behaviour import Behaviour, Moment, On, When, key_of
from benchrig.radio.virtual.behaviours import BEHAVIOURS, AttError
from benchrig.radio.virtual.block import entry_of, keys_of
from benchrig.radio.virtual.device_spec import FaultSpec
from benchrig.radio.virtual.reaction_spec import ReadSpec, WriteSpec
from benchrig.radio.virtual.words import AttErrorCode
from benchrig.values.quantity import Duration
from tests.radio.virtual.bench import SPECIAL, Bench, models, reacting


class Device:
    uptime = 10.0


class Inverted(Behaviour, frozen=True, kw_only=True):
    """Each second read answers the opposite."""

    on = frozenset({On.READ})
    inverted: bool = True

    def value(self, moment, value):
        return bytes(octet ^ 0xFF for octet in value)


class Stuck(Behaviour, frozen=True, kw_only=True):
    on = frozenset({On.READ})
    stuck: bool = True

    def value(self, moment, value):
        return value if moment.last is None else moment.last


@pytest.mark.parametrize(
    ("when", "numbers"),
    [
        (When(), [1, 2, 3, 4, 5]),
        (When(every=2), [2, 4]),
        (When(times=2), [1, 2]),
        (When(every=2, times=1), [2]),
        (When(after=Duration.of(9.9)), [1, 2, 3, 4, 5]),
        (When(after=Duration.of(10.1)), []),
    ],
)
def test_when(when, numbers):
    assert [number for number in range(1, 6) if when.holds(Moment(Device(), number))] == numbers


WRITES = ["set", "notify", "print", "enter", "store", "check", "then", "cases"]


def test_a_block_takes_the_behaviours_of_its_occasions():
    for kind_of_block, own in ((ReadSpec, []), (WriteSpec, WRITES), (FaultSpec, [])):
        behaviours = [key_of(kind)[0] for kind in BEHAVIOURS if kind.on & kind_of_block.occasions]
        assert [*keys_of(kind_of_block).__struct_fields__] == [*behaviours, *own, "sometimes"]
    assert "again" not in keys_of(FaultSpec).__struct_fields__
    assert "restart_every" not in entry_of(FaultSpec).__struct_fields__


def test_a_behaviour_of_reads_alone_is_none_of_writes(monkeypatch):
    monkeypatch.setattr(block, "BEHAVIOURS", (*BEHAVIOURS, Inverted))
    assert "inverted" in block.keys_of.__wrapped__(ReadSpec).__struct_fields__
    assert "inverted" not in block.keys_of.__wrapped__(WriteSpec).__struct_fields__


def with_behaviours(*behaviours):
    """The device with one number that counts its reads and behaves like this."""
    [unit] = models(reacting(properties="[read]", value="{counter: {start: 1}}"))
    [*others, own] = unit.services
    [*before, special] = own.characteristics
    special = msgspec.structs.replace(special, on_read=ReadSpec(behaviours=behaviours))
    own = msgspec.structs.replace(own, characteristics=[*before, special])
    return msgspec.structs.replace(unit, services=[*others, own])


async def reads(count, *behaviours):
    bench = Bench()
    bench.models = [with_behaviours(*behaviours)]
    async with bench:
        client = await bench.connect()
        answers = []
        for _ in range(count):
            try:
                answers.append((await client.read_gatt_char(SPECIAL))[0])
            except Exception as exc:
                answers.append(type(exc).__name__)
        await client.disconnect()
    return answers


async def test_a_behaviour_changes_what_a_read_answers():
    assert await reads(4, Inverted(when=When(every=2))) == [1, 2 ^ 0xFF, 3, 4 ^ 0xFF]


async def test_a_behaviour_knows_the_answer_before():
    assert await reads(4, Stuck(when=When(every=3))) == [1, 2, 2, 4]


async def test_a_refusal_now_and_then():
    refused = AttError(att_error=AttErrorCode(0x80), when=When(every=2))
    assert await reads(3, refused) == [1, "BleakGATTProtocolError", 2]


async def test_each_air_begins_anew():
    unit = with_behaviours()
    for _ in range(2):
        air = await open_air([unit], seed=1)
        assert next(iter(air.devices.values())).characteristics["special"].take() == b"\1"
        await air.close()
