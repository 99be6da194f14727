"""What each family must contain for a small device, and what is not made."""

from __future__ import annotations

import pytest

from benchrig.faults.fault import Scene
from benchrig.faults.registry import faults_of
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems
from benchrig.values.limit import Limit
from benchrig.values.pattern import Regex
from benchrig.values.quantity import Quantity
from tests.faults.small import LIMITS, SMALL
from tests.radio.virtual.bench import models
from tests.run.kit import DEVICES

SIZES = ["a byte short", "a byte long", "empty"]
SCALES = ["scale x10", "scale /10", "scale x100"]
LATER = ["right only once", "spoiled by a write to alarm limit"]
LABELS = ["trailing NUL", "trailing blank", "wrong case"]
VALUES = {
    "serial number": [*SIZES, "no text", "of a neighbour", "never written", *LABELS],
    "firmware revision": [*SIZES, "no text", "of an older build", "of a newer build", "of a debug build", *LABELS[:2]],
    "model number": [*SIZES, "no text", "of a variant", *LABELS],
    "battery level": [*SIZES, *SCALES, "too high", "too low", "as text", "zero", "erased", *LATER],
    "temperature": [*SIZES, "stuck", "noisy", "swapped bytes", "wrong sign", *SCALES, "in °F", "in K", "too high", "too low",
                    "as text", "zero", "erased", "always 'not known'"],
    "alarm limit": [*SIZES, "swapped bytes", "wrong sign", *SCALES, "in °F", "in K", "too high", "too low", "as text", "zero",
                    "erased", "right only once"],
    "mode": [*SIZES, "erased", "always 'off'", "always 'on'", "reserved", *LATER],
    "armed": [*SIZES, "inverted", *LATER],
    "key": [*SIZES, "a wrong bit", "a wrong last bit", "swapped bytes", "zeros", "erased", *LATER],
    "weight": [*SIZES, "swapped bytes", "wrong sign", *SCALES, "in g", "in lb", "too high", "too low", "as text", "zero",
               "erased", "always 'NaN'", *LATER],
    "ride": [*SIZES, "number and speed exchanged"],
    "ride.state": ["too high", "too low", "zero", "erased", "open inverted", "level inverted"],
    "ride.number": ["stuck", "counts by two", "counts down", "starts again early", "starts elsewhere", "swapped bytes", "zero",
                    "erased", "moved by a byte"],
    "ride.speed": ["swapped bytes", *SCALES, "in m/s", "in mph", "too high", "too low", "zero", "erased", "moved by a byte"],
    "progress": [*SIZES, "stuck", "three times as slow", *SCALES, "too high", "as text", "zero", "erased"],
    "answer": [*SIZES, "a wrong bit"],
}  # fmt: skip
STANDARD, PRIVATE = ["UUID with a wrong digit", "UUID of 128 bits"], [
    "UUID with a wrong digit", "UUID of 16 bits", "UUID in reverse order"]  # fmt: skip
TABLE = {
    "battery service": ["missing", "duplicate", *STANDARD, "extra characteristic"],
    "7d200001 service": ["missing", "duplicate", *PRIVATE, "extra characteristic", "another order"],
    "serial number": ["missing", "no read", "extra write", "duplicate", *STANDARD],
    "temperature": ["missing", "no read", "no notify", "extra write", "no subscribing", "indicate instead of notify",
                    "duplicate", *STANDARD],
    "alarm limit": ["missing", "no read", "no write", "extra write without response", "extra notify", "duplicate", *PRIVATE],
    "answer": ["missing", "no notify", "extra write", "extra read", "no subscribing", "indicate instead of notify", *PRIVATE],
    "temperature/user description": ["missing", "empty", "another text", "extra write"],
    "temperature/characteristic presentation format": ["missing", "empty", "another exponent", "another unit", "extra write"],
    "table": ["extra factory service", "extra console service", "extra update service", "extra service of another product",
              "no generic access", "handles moved", "services in another order"],
    "generic access": ["another name", "no name", "name can be written", "another appearance"],
}  # fmt: skip
ADVERTISING = [
    "interval doubled", "interval halved", "interval five times", "10 dB too weak", "20 dB too weak", "20 dB too strong",
    "not connectable", "stops after 5 s", "late after a link", "silent after a link", "public address", "default address",
    "address of a neighbour", "address changes", "no battery", "wrong battery", "extra service", "no transmit power",
    "another transmit power", "no appearance", "another appearance", "no flags", "flag 0x01", "flag 0x02", "flag 0x04", "no manufacturer data", "another company",
    "wrong byte 1 of manufacturer data", "wrong byte 2 of manufacturer data", "manufacturer data a byte short",
    "manufacturer data in reverse order", "no name", "name of a neighbour", "name cut short", "factory mode",
    "no data of battery", "wrong byte 1 of data of battery", "wrong byte 2 of data of battery", "data of battery a byte short",
    "data of battery in reverse order", "no scan response", "data and scan response exchanged", "no data",
    "serial number in its data", "serial number in its scan response",
]  # fmt: skip


def kinds(scene: Scene, family: str) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for fault in faults_of(scene, families=[family], limits=LIMITS):
        thing, _, kind = fault.name.partition(": ")
        found.setdefault(thing, set()).add(kind)
    return found


def test_values() -> None:
    assert kinds(SMALL, "value") == {thing: set(words) for thing, words in VALUES.items()}


def test_table() -> None:
    found = kinds(SMALL, "table")
    assert {thing: found[thing] for thing in TABLE} == {thing: set(words) for thing, words in TABLE.items()}


def test_advertising() -> None:
    assert kinds(SMALL, "advertising") == {"advertising": set(ADVERTISING)}


def one(**keys: str) -> Scene:
    lines = "".join(f", {key}: {text}" for key, text in keys.items())
    text = f"device: one\nservices: [{{service: FFF0, characteristics: [{{characteristic: FFF1, name: x{lines}}}]}}]"
    return Scene(tuple(models(text)))


@pytest.mark.parametrize(
    ("keys", "missing"),
    [
        ({"as": "uint16", "properties": "[read]", "value": "0x0101"}, "swapped bytes"),
        ({"as": "sint16", "properties": "[read]", "value": "0 °C", "unit": "°C"}, "wrong sign"),
        ({"as": "sint16", "properties": "[read]", "value": "0 °C", "unit": "°C"}, "scale x10"),
        ({"as": "uint16", "properties": "[read]", "value": "7"}, "scale x10"),
        ({"as": "uint8", "properties": "[read]", "value": "255"}, "too high"),
        ({"as": "utf8", "properties": "[read]", "value": "'123'"}, "wrong case"),
    ],
)
def test_what_would_change_nothing_or_mean_nothing_is_not_made(keys: dict[str, str], missing: str) -> None:
    found = kinds(one(**keys), "value")["x"]
    assert "a byte short" in found
    assert missing not in found


@pytest.mark.parametrize(
    "keys",
    [
        {"as": "uint8", "properties": "[write]"},
        {"as": "uint8", "properties": "[read]", "value": "1", "on_read": "{att_error: read not permitted}"},
        {"as": "uint8", "properties": "[read]", "value": "1", "authorized": "false"},
    ],
)
def test_what_nobody_sees_has_no_faults_of_its_value(keys: dict[str, str]) -> None:
    assert kinds(one(**keys), "value") == {}


def test_a_plan_says_how_far_off_a_value_is_to_be() -> None:
    sound = one(**{"as": "uint16", "unit": "mV", "properties": "[read]", "value": "3000 mV"})
    limit = Limit(min=Quantity.from_source("2.9 V"), max=Quantity.from_source("3.1 V"))
    said = {fault.name: fault.says for fault in faults_of(sound, families=["value"], limits={PATH: [limit]})}
    assert (said["x: too high"], said["x: too low"]) == ("The x is 101 mV too high.", "The x is 101 mV too low.")
    usual = {fault.name: fault.says for fault in faults_of(sound, families=["value"])}
    assert usual["x: too high"] == "The x is 600 mV too high."


def test_the_nearest_text_that_a_plan_refuses() -> None:
    sound = one(**{"as": "utf8", "properties": "[read]", "value": "A1"})
    limits = {PATH: [Limit(matches=Regex.from_source("(?s)A[0-9].*|a1"))]}
    said = {fault.name: fault.says for fault in faults_of(sound, families=["value"], limits=limits)}
    assert said["x: refused text"] == "The x says 'xA1', which the plan refuses."


PATH = "0000fff0-0000-1000-8000-00805f9b34fb/0000fff1-0000-1000-8000-00805f9b34fb"


@pytest.mark.slow
def test_weights() -> None:
    weights = {fault.name: fault.weight for fault in faults_of(SMALL)}
    assert weights["alarm limit: scale x10"] == weights["table: extra factory service"] == "grave"
    assert weights["control: extra read"] == weights["serial number: extra write"] == "grave"
    box = {
        fault.name: fault
        for fault in faults_of(Scene(tuple(load_devices([DEVICES / "transport_box.yaml"], Problems()))))
    }
    assert box["control 01 each 3 times: not known"].says == (
        "The device lets the control 01 each 3 times pass, which it must refuse."
    )
    for name in ("control 01 each 3 times: not known", "control 01 48 21: state.lock never comes to its end"):
        assert box[name].weight == "grave"
    assert weights["temperature: missing"] == weights["temperature: scale x10"] == "serious"
    assert weights["serial number: trailing NUL"] == weights["table: handles moved"] == "minor"
