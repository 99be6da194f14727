"""Units that are tested at once over one radio: unit by unit the same as alone, on the kind and the rough air and on a
controller behind TCP."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from benchrig.faults import registry
from benchrig.faults.fault import Scene
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.record.model import Record
from benchrig.testing.sources import load_devices
from tests.contract.compare import differences
from tests.contract.radios import RADIO_ALONE, air_on_tcp
from tests.line.lent import KINDS, Test, alone, ended, together, told
from tests.run.kit import SHIPPED, pieces

# what takes longer than a second is for the slow suite
QUICK = ["smoke", "twelve_checks"]
PLANS = [pytest.param("kind", name, marks=() if name in QUICK else pytest.mark.slow) for name in SHIPPED]
PLANS += [pytest.param("rough", name, marks=pytest.mark.slow) for name in SHIPPED if "nightly" not in name]
AIRS = [pytest.param("kind", id="kind"), pytest.param("rough", id="rough", marks=pytest.mark.slow)]


@pytest.fixture
def most_at_once(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """How many were connecting at the same time, whenever one began."""
    now, seen, connect = 0, list[int](), Radio.connect

    async def counted(self: Radio, *args: Any, **keys: Any) -> Link:
        nonlocal now
        now += 1
        seen.append(now)
        try:
            return await connect(self, *args, **keys)
        finally:
            now -= 1

    monkeypatch.setattr(Radio, "connect", counted)
    yield seen
    assert seen


def files(kind: str, count: int, folder: Path) -> tuple[Path, ...]:
    return tuple(KINDS[kind].write(number, folder) for number in range(1, count + 1))


def on(air: str, written: tuple[Path, ...]) -> RadioChoice:
    """A virtual radio with these units."""
    return RadioChoice("virtual", files=written, air=None if air == "kind" else air)


def each(name: str, count: int) -> list[Test]:
    return [Test.shipped(name, number, **RADIO_ALONE.get(name, {})) for number in range(1, count + 1)]


def same(at_once: Sequence[Record], one_by_one: Sequence[Record]) -> None:
    for together_, alone_ in zip(at_once, one_by_one, strict=True):
        assert differences(alone_, together_) == []
        assert (told(alone_), seen(alone_)) == (told(together_), seen(together_))


def seen(record: Record) -> list[tuple[str, str, str]]:
    return [(unit.address, unit.name, unit.serial) for unit in record.devices.values()]


@pytest.mark.parametrize(("air", "name"), PLANS)
def test_four_at_once_are_as_each_alone(name: str, air: str, tmp_path: Path, most_at_once: list[int]) -> None:
    radio, tests = on(air, files(SHIPPED[name], 4, tmp_path)), each(name, 4)
    same(together(tests, radio), [alone(test, radio) for test in tests])
    assert max(most_at_once) == 1, "a step connects that did not wait for its turn"


@pytest.mark.slow
@pytest.mark.timeout(400)
@pytest.mark.parametrize("name", ["end_of_line", "box_end_of_line"])
def test_four_at_once_on_a_controller_behind_tcp(name: str, tmp_path: Path) -> None:
    tests, written = each(name, 4), files(SHIPPED[name], 4, tmp_path)
    with air_on_tcp(*written) as radio:
        at_once = together(tests, radio)
    same(at_once, [alone(test, on("kind", written)) for test in tests])


def broken(number: int, folder: Path, rng: random.Random) -> Simulated:
    """The unit with a fault of any kind, or with none."""
    [unit] = load_devices([KINDS["logger"].write(number, folder)])
    scene = Scene((unit,))
    fault = rng.choice([None, *(fault for fault in registry.faults_of(scene) if fault.family != "bench")])
    return unit if fault is None else fault.change(scene).unit


@pytest.mark.parametrize("seed", pieces(8, 0))
@pytest.mark.parametrize("air", AIRS)
def test_what_is_wrong_with_one_is_nothing_of_the_others(seed: int, air: str, tmp_path: Path) -> None:
    rng = random.Random(seed)
    devices = tuple(broken(number, tmp_path, rng) for number in range(1, 5))
    choice, tests = RadioChoice("virtual", devices=devices, air=air), each("end_of_line", 4)
    at_once = [ended(record) for record in together(tests, choice)]
    assert at_once == [ended(alone(test, choice)) for test in tests]
