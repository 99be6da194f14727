"""A device is written as a file that is read as just this device."""

from __future__ import annotations

import random
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.faults.mutation import Change, behaving, in_turn, replaced, within
from benchrig.faults.weakening import weakenings
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.radio.virtual.behaviours import AttError, Delay
from benchrig.radio.virtual.conditions import STILL
from benchrig.radio.virtual.device_file import devices_of
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec
from benchrig.radio.virtual.reaction_spec import WriteSpec
from benchrig.radio.virtual.words import AttErrorCode, DescriptorUuid, Hex
from benchrig.radio.virtual.writing import device_data, device_text, devices_text
from benchrig.source.layout import WIDTH
from benchrig.source.layout import Path as At
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.shape import Misfit
from benchrig.source.yaml import read_bytes
from benchrig.values.quantity import Duration
from tests.fuzz import mutate

ROOT = Path(__file__).parents[3]
SHIPPED = sorted((ROOT / "testplans/devices").glob("*.yaml"))
LOGGER = ROOT / "testplans/devices/logger.yaml"
NAME = DescriptorUuid.from_source("user description")
FILES = [
    *SHIPPED, *sorted((ROOT / "tests/requirements/units").glob("*.yaml")), ROOT / "tests/contract/devices.yaml",
    *sorted((ROOT / "tests/host_stack").glob("*units.yaml")),
]  # fmt: skip


def devices_in(text: bytes, name: str = "device.yaml") -> list[DeviceSpec]:
    """The devices of a sound file; none of another."""
    problems = Problems()
    node = read_bytes(text, name, problems, "")
    found = [] if node is None or problems.found else devices_of(node, problems)
    return [one for one in found if isinstance(one, DeviceSpec) and not problems.found]


def read_back(device: DeviceSpec, comments: dict[At, str] | None = None, head: tuple[str, ...] = ()) -> DeviceSpec:
    text = device_text(device, comments or {}, head)
    found = devices_in(text.encode())
    assert found, text
    return found[0]


def sound(file: Path) -> list[DeviceSpec]:
    return [one for one in load_devices([file], Problems()) if isinstance(one, DeviceSpec)]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_file_and_each_weaker_device(file: Path) -> None:
    devices = sound(file)
    assert devices
    for device in devices:
        assert read_back(device) == device
        for weaker in (each.apply(device) for each in weakenings(device)):
            assert not is_legal(weaker) or read_back(weaker) == weaker


def is_legal(device: DeviceSpec) -> bool:
    """Whether its parts are such as a file may have them: a key size alone says nothing."""
    parts = [one for service in device.services for one in service.characteristics]
    return not any([*part.misfits()] for part in [*parts, *(one for part in parts for one in part.descriptors)])


@pytest.mark.parametrize("count", [40, pytest.param(800, marks=pytest.mark.slow)])
def test_files_that_are_nearly_right(count: int) -> None:
    """Whatever words stand in it: a device that is read is written."""
    rng, tried = random.Random(5), 0
    texts = [file.read_text("utf-8") for file in FILES if "use:" not in file.read_text("utf-8")]
    for _ in range(count):
        for device in devices_in(mutate.text(rng, rng.choice(texts)).encode("utf-8", "surrogatepass")):
            assert read_back(device) == device
            tried += 1
    assert tried > count // 4


@given(text=st.text(max_size=20), octets=st.binary(max_size=20), number=st.decimals(-300, 300, places=6))
def test_any_text_bytes_and_number(text: str, octets: bytes, number: Decimal) -> None:
    device = sound(LOGGER)[0]
    service = device.services[0]
    one = replaced(value=text, on_write=WriteSpec(print=text))(service.characteristics[0])
    two = replaced(value=None, raw=Hex(octets), descriptors=[DescriptorSpec(descriptor=NAME, raw=Hex(octets))])(one)
    temperature = replaced(value={"noise": {"mean": f"{number} °C", "sd": "0 °C"}})(
        device.services[2].characteristics[0]
    )
    services = [replaced(characteristics=[one, replaced(name="two")(two), temperature])(service)]
    changed = replaced(services=services, device=text or "x")(device)
    if re.search(r"\$\{[^{}]*\}", text):
        with pytest.raises(Misfit, match="a device file has no references"):
            device_text(changed)
        return
    data = device_text(changed)
    again = msgspec.structs.replace(changed, services=parsed(data)["services"])
    assert [each["value"] for each in again.services[0]["characteristics"][::2]] == [text, temperature.value]
    assert again.services[0]["characteristics"][1]["raw"] == octets.hex(" ").upper()


def parsed(text: str) -> Any:
    """The plain data of a file, whether or not a device could be so."""
    problems = Problems()
    node = read_bytes(text.encode(), "device.yaml", problems, "")
    assert node is not None
    assert not problems.found
    return plain(node)


def test_a_comment_at_any_line_changes_nothing() -> None:
    """The key of a comment is there, a default too; a long one goes before its line; none breaks the file."""
    for file in SHIPPED:
        for device in sound(file):
            paths = every_path(device_data(device))
            comments = dict.fromkeys(paths, "seen at\nhome: '# {") | {("mtu",): "guessed " * 30}
            text = device_text(device, comments, ["What was not seen:", "nothing"])
            assert read_back(device, comments, ("What was not seen:", "nothing")) == device
            assert text.startswith("# What was not seen:\n# nothing\n")
            assert "\nmtu: 247\n" in text
            assert text.count(r"# seen at\nhome: '# {") == len(paths) - (("mtu",) in paths)


def every_path(data: object, path: At = ()) -> list[At]:
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [each for key, part in items for each in ((*path, key), *every_path(part, (*path, key)))]


def test_it_reads_as_people_write() -> None:
    """The logger that ships, but for comments and the order of keys, is the file itself."""
    wrote, written = LOGGER.read_text("utf-8"), device_text(sound(LOGGER)[0])
    lines = [line for line in written.splitlines() if line not in wrote]
    assert lines == []
    assert max(map(len, written.splitlines())) <= WIDTH


@pytest.mark.parametrize(
    "air", ["kind", "rough", "{like: far, loss: 1.1 %, clock: 33 ppm, level: -93 dBm, packets: 2, fading: 0}"]
)
def test_the_air_is_that_of_the_file(air: str) -> None:
    (device,) = devices_in(f"device: x\nair: {air}\n".encode())
    assert read_back(device) == device
    assert device.air is not None


def with_first(change: Change) -> tuple[CharacteristicSpec, DeviceSpec]:
    """The first characteristic of the logger changed, alone in its service, and the device."""
    device = sound(LOGGER)[0]
    service = device.services[0]
    first = change(service.characteristics[0])
    return first, replaced(spread=None, services=[replaced(characteristics=[first])(service)])(device)


def test_behaviours_of_some_times() -> None:
    text = """device: x
services:
  - service: battery
    characteristics:
      - characteristic: battery level
        properties: [read, notify]
        value: 5 %
        on_read: {delay: 1 s, sometimes: [{from: 2, times: 1, delay: 2 s, raw: '05 06'}, {every: 3, after: 4 s, again: true}]}
        on_notify: {sometimes: [{share: 0.5 %, starts_with: FF, under: battery level}]}
faults: {refuse_connections: 1, sometimes: [{from: 2, refuse_connections: all}]}
on_request: {sometimes: [{from: 60, silent: true}]}
"""
    (device,) = devices_in(text.encode())
    assert read_back(device) == device
    assert sum(len(block.behaviours) for block in (device.faults, device.on_request)) == 3


def test_a_behaviour_that_no_file_has() -> None:
    _, broken = with_first(behaving("on_read", Delay(delay=Duration.of(1)), Delay(delay=Duration.of(2))))
    with pytest.raises(Misfit) as told:
        device_text(broken)
    assert told.value.path == ("services", 0, "characteristics", 0, "on_read", "delay")


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (replaced(air=AirChoice(STILL)), ("air",)),
        (replaced(device="${name}"), ("device",)),
        (within("advertising", replaced(interval=Duration(Fraction(1, 30), "s"))), ("advertising", "interval")),
    ],
)
def test_what_no_file_says_is_told_with_its_place(change: Change, path: At) -> None:
    with pytest.raises(Misfit) as told:
        device_text(change(sound(LOGGER)[0]))
    assert told.value.path == path


def test_behaviours_are_in_the_order_of_the_file() -> None:
    refuses, slow = (
        behaving("on_read", AttError(att_error=AttErrorCode(0x80))),
        behaving("on_read", Delay(delay=Duration.of(0.25))),
    )
    _, broken = with_first(in_turn(refuses, slow))
    assert "on_read: {delay: 250 ms, att_error: 0x80}" in device_text(broken)
    assert read_back(broken) == broken


def test_several_devices_in_one_file() -> None:
    unit = "{device: unit N, address: 'C4:00:00:00:00:0N', advertising: {data: {name: unit N}}}"
    both = f"air: rough\ndevices:\n  - {unit.replace('N', '1')}\n  - {unit.replace('N', '2')}\n"
    devices = devices_in(both.encode())
    assert [device.air is not None for device in devices] == [True, True]
    assert devices_in(devices_text(devices, ["two"]).encode()) == devices
    assert devices_text(devices[:1]) == device_text(devices[0])
