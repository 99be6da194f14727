"""A plan on changed devices: what is wrong with one of them ends the run, with the cause that it has."""

import pytest

from benchrig.faults.mutation import Mutation, behaving, dropped, replaced
from benchrig.radio.virtual.behaviour import When
from benchrig.radio.virtual.behaviours import AttError, Delay, Disconnect, RefuseConnections, Silent, StopAdvertising
from benchrig.radio.virtual.words import AttErrorCode
from benchrig.values.quantity import Duration
from tests.desk.carriers import device
from tests.run.kit import device_text, plan_text, run

LEVEL = "battery/battery level"
SOUND = device(
    device_text("services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 97 %}]}]")
)  # fmt: skip
READ = "  - read: battery level\n    expect: {value: {min: 90 %}, elapsed: {max: 1 s}}\n"
PLAN = plan_text(READ * 3)
MUTANTS = [
    ("limit", Mutation("another value", LEVEL, replaced(value="89 %"))),
    ("limit", Mutation("late in the third read", LEVEL, behaving("on_read", Delay(delay=Duration.of(2), when=When(every=3))))),
    ("device", Mutation("not there", LEVEL, dropped)),
    ("device", Mutation("no read", LEVEL, replaced(properties=["notify"]))),
    ("device", Mutation("an error now and then", LEVEL, behaving("on_read", AttError(att_error=AttErrorCode(0x80), when=When(every=2))))),
    ("device", Mutation("silent once", LEVEL, behaving("on_read", Silent(when=When(times=1))))),
    ("link", Mutation("leaves", LEVEL, behaving("on_read", Disconnect(when=When(every=3))))),
    ("link", Mutation("takes no connection", "", behaving("faults", RefuseConnections(refuse_connections=100)))),
    ("link", Mutation("falls silent", "", behaving("faults", StopAdvertising(stop_advertising_after=Duration.of(0.01))))),
]  # fmt: skip


def test_the_sound_device_passes():
    assert run(PLAN, SOUND).ended.verdict == "pass"


@pytest.mark.parametrize(("cause", "mutation"), MUTANTS, ids=[mutation.name for _, mutation in MUTANTS])
def test_a_change_is_found(cause, mutation):
    ended = run(PLAN, mutation.apply(SOUND)).ended
    assert (ended.verdict, ended.cause) == ("fail", cause)
