"""What can stand next on a line, and what attributes are called."""

from __future__ import annotations

import pytest

from benchrig.desk.desk import Desk
from benchrig.desk.naming import Namer
from benchrig.desk.prompt.completing import proposals
from benchrig.desk.prompt.session import Session
from benchrig.steps.lookup import look_up
from tests.desk.kit import at_desk
from tests.desk.prompt.kit import LOGGER, NAMES
from tests.run.kit import device_text

TWINS = device_text("""services:
  - service: battery service
    characteristics: [{characteristic: battery level, properties: [read], value: 97 %}]
  - service: battery service
    characteristics:
      - {characteristic: battery level, name: second, properties: [read], value: 96 %}
      - {characteristic: battery level, name: third, properties: [read], value: 95 %}
""")


async def _nobody(_: str) -> None:
    raise AssertionError("nothing is written here")


def proposed(*befores: str, connected: bool = True) -> list[tuple[int, list[str]]]:
    async def work(desk: Desk) -> list[tuple[int, list[str]]]:
        session = Session(desk, lambda _: None, _nobody)
        if connected:
            await session.scan(0.5)
            await session.connect()
            await session.watch("temperature")
        found = [proposals(before, session) for before in befores]
        await session.close()
        return found

    return at_desk(work, LOGGER, names=NAMES)


def test_proposals_of_a_connected_session() -> None:
    before = ["", "re", "sav", "read batt", "read battery l", "read humidity batt", "write al", "watch ", "unwatch ",
              "connect V", "help qu", "write alarm limit 8 °C --re", "read temperature --as uint1", "wait ",
              "red x", "read --scale 0"]  # fmt: skip
    found = dict(zip(before, proposed(*before), strict=True))
    assert found[""][0] == 0
    assert found[""][1][:3] == ["scan", "connect", "disconnect"]
    assert found["re"] == (2, ["read"])
    assert found["sav"] == (3, ["save", "save!"])
    assert found["read batt"] == (4, ["battery level", "battery level/client characteristic configuration"])
    assert found["read battery l"][0] == 9
    assert found["read humidity batt"][1][0] == "battery level"
    assert found["write al"] == (2, ["alarm limit"])
    assert found["watch "] == (0, ["battery level", "temperature", "command", "log stream"])
    assert found["unwatch "] == (0, ["temperature"])
    assert found["connect V"] == (1, ["VFL-0042"])
    assert found["help qu"] == (2, ["quit"])
    assert found["write alarm limit 8 °C --re"] == (4, ["--read-back"])
    assert found["read temperature --as uint1"][1] == ["uint12", "uint16", "uint128"]
    assert found["wait "] == found["red x"] == found["read --scale 0"] == (0, [])


def test_before_there_is_a_device_own_names_are_proposed() -> None:
    assert proposed("read a", connected=False) == [(1, ["alarm limit"])]


@pytest.mark.parametrize("device", [LOGGER, TWINS])
def test_every_name_means_its_attribute(device: str) -> None:
    async def work(desk: Desk) -> int:
        _, link = await desk.reach()
        names = Namer(link.table, desk.names).all()
        for name, found in names.items():
            assert look_up(link.table, desk.names, name).found == found
        return len(names)

    assert at_desk(work, device, names=NAMES) >= 5


def test_of_several_alike_each_has_a_name() -> None:
    async def work(desk: Desk) -> list[str]:
        _, link = await desk.reach()
        return [name for name in Namer(link.table, desk.names).all() if "level" in name]

    # as a draft calls them
    assert at_desk(work, TWINS) == [
        "battery[0]/battery level",
        "battery[1]/battery level[0]",
        "battery[1]/battery level[1]",
    ]
