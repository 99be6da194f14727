"""Bytes and times of arrival as a device file says them: each row worked out by hand."""

from __future__ import annotations

import random
from itertools import accumulate

import pytest

from benchrig.draft.evidence import StreamSeen
from benchrig.study.tolerance import Group
from benchrig.twin.timing import Pace, losses_of, pace_of, roundest
from benchrig.twin.values import constant, moving, numbers_in
from benchrig.values.format import FormatSpec, build_format, spec_from

TEMPERATURE = build_format(spec_from({"as": "sint16", "scale": "0.01", "unit": "°C"}))
NUMBER = build_format(FormatSpec(as_="uint8"))
STATE = build_format(spec_from({"as": "uint8", "words": {"0": "off", "1": "on"}}))
TEXT = build_format(FormatSpec(as_="utf8"))


def raw(*numbers: int, size: int = 1) -> list[bytes]:
    return [number.to_bytes(size, "little", signed=size > 1) for number in numbers]


@pytest.mark.parametrize(
    ("form", "data", "keys"),
    [
        (TEMPERATURE, b"\x66\x08", {"value": "21.5 °C"}),
        (TEMPERATURE, b"\x66", {"raw": "66"}),
        (STATE, b"\x01", {"value": "on"}),
        (STATE, b"\x07", {"value": 7}),
        (TEXT, b"${x}", {"raw": "24 7B 78 7D"}),
        (TEXT, b"\xff", {"raw": "FF"}),
        (None, b"", {"raw": ""}),
    ],
)
def test_a_value_or_its_bytes(form, data, keys) -> None:
    assert constant(form, data) == keys


@pytest.mark.parametrize(
    ("form", "rows", "value"),
    [
        (NUMBER, [raw(7, 7), raw(7)], 7),
        (NUMBER, [raw(4, 5, 6, 7, 8, 9, 10, 11)], {"counter": {"start": 4, "step": 1}}),
        (NUMBER, [raw(250, 252, 254, 0, 2, 4, 6, 8)], {"counter": {"start": 250, "step": 2}}),
        (NUMBER, [raw(3, 1), raw(1, 3)], {"sequence": [3, 1, 3]}),
        (STATE, [raw(0, 1, 1, 0)], {"sequence": ["off", "on", "off"]}),
        (TEMPERATURE, [raw(2150, 2151, size=2)], {"sequence": ["21.5 °C", "21.51 °C"]}),
        # again and again the same few, far apart: no noise
        (TEMPERATURE, [raw(*[2140, 2150, 2140, 4980] * 4, size=2)], {"sequence": ["21.4 °C", "21.5 °C", "21.4 °C", "49.8 °C"] * 4}),
    ],
)  # fmt: skip
def test_how_a_value_moves(form, rows, value) -> None:
    assert moving(form, rows).keys == {"value": value}


def test_noise_has_the_mean_and_the_deviation_of_what_arrived() -> None:
    rng = random.Random(3)
    found = moving(TEMPERATURE, [raw(*(round(rng.gauss(450, 20)) for _ in range(400)), size=2)])
    noise = found.keys["value"]["noise"]
    assert float(noise["mean"].split()[0]) == pytest.approx(4.5, abs=0.03)
    assert float(noise["sd"].split()[0]) == pytest.approx(0.2, abs=0.02)


@pytest.mark.parametrize(
    ("number", "loose", "found"), [(0.10034, 0.001, 0.1), (0.10034, 0.0001, 0.1003), (1.9, 0.2, 2.0), (0.0, 1.0, 0.0)]
)
def test_the_roundest_number_nearby(number: float, loose: float, found: float) -> None:
    assert roundest(number, loose) == pytest.approx(found)


def sent(period: float, jitter: float, count: int, *, event: float = 0.0, missing: tuple[int, ...] = ()) -> StreamSeen:
    """What a sender with this period makes, waiting for connection events; `missing` are left out."""
    rng = random.Random(1)
    due = [number * period + rng.uniform(0, jitter) for number in range(count)]
    times = [-(-at // event) * event if event else at for at in due]
    kept = [(at, number) for number, at in enumerate(times) if number not in missing]
    gaps = [b - a for a, b in zip([at for at, _ in kept], [at for at, _ in kept][1:], strict=False)]
    return StreamSeen(
        "x",
        "u",
        times[-1],
        len(kept),
        None,
        Group.of(gaps),
        raw(*(number for _, number in kept)),
        times=[at for at, _ in kept],
    )


def pace(stream: StreamSeen) -> Pace:
    found = pace_of([stream], lambda values: numbers_in(NUMBER, values))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("period", "jitter", "event"),
    [(0.1, 0.0, 0.0), (0.1, 0.02, 0.0), (0.05, 0.0, 0.015), (1.0, 0.0, 0.03), (0.2, 0.02, 0.015)],
)
def test_period_and_jitter_of_what_arrived(period: float, jitter: float, event: float) -> None:
    found = pace(sent(period, jitter, 200, event=event))
    assert found.period == pytest.approx(period, rel=0.002)
    assert found.jitter == pytest.approx(jitter, abs=0.006)
    assert (found.grid > 0) == (event > 0)


@pytest.mark.parametrize(
    ("missing", "every"), [((), None), ((9, 19, 29, 39), 10), ((9, 19, 29, 38), None), ((17,), None)]
)
def test_what_a_counter_shows_to_be_missing(missing: tuple[int, ...], every: int | None) -> None:
    """A gap over what is missing makes the period no longer."""
    stream = sent(0.1, 0.0, 45, missing=missing)
    found = losses_of([stream], lambda values: numbers_in(NUMBER, values))
    assert (found.missing, found.count, found.every) == (len(missing), 45, every)
    assert pace(stream).period == pytest.approx(0.1)


def test_numbers_go_on_over_the_end_of_the_format() -> None:
    values = [*accumulate([1] * 12, initial=248)]
    assert numbers_in(NUMBER, raw(*(value % 256 for value in values))) == [*range(13)]
    assert numbers_in(NUMBER, raw(3, 1, 3, 1)) is None
    assert numbers_in(TEMPERATURE, raw(1, 2, 3, size=2)) is None
