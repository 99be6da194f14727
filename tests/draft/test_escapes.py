"""Faults that a drafted plan must see, and changes that it must let pass."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.draft.compose import compose
from benchrig.propose.proposal import Basis
from benchrig.steps.attribute import Names
from tests.draft.devices import SHELVES, TWINS
from tests.draft.kit import changed, drafted, failures, limit_of, lines_about, loaded, seen
from tests.run.kit import DEVICES, device_text

LOGGER = (DEVICES / "logger.yaml").read_text(encoding="utf-8")
TEMPERATURE = "notify: {period: 1 s, jitter: 20 ms}"
STREAM = "notify: {period: 50 ms, jitter: 2 ms}"
ADDRESS = "address: 'C4:1F:5A:20:00:42'\n"


@pytest.mark.parametrize(
    ("old", "new", "step"),
    [
        (STREAM, "notify: {period: 50 ms, jitter: 2 ms, count: 20}", "notify own 6b1d0004"),
        (TEMPERATURE, "notify: {period: 1 s, jitter: 20 ms, count: 2}", "notify temperature"),
        ("mtu: 247", "mtu: 23", "connect"),
        ("mtu: 247", "mtu: 247\nfaults: {refuse_connections: 2}", "connect"),
        ("interval: 100 ms", "interval: 20 ms", "scan"),
        ("mean: -52 dBm", "mean: -20 dBm", "scan"),
        ("C4:1F:5A:20:00:42'\n", "C4:1F:5A:20:00:42'\naddress_type: public\n", "scan"),
        ("value: VFL3}", "value: VFL3, on_read: {delay: 2 s}}", "read model number"),
    ],
)
def test_a_fault_is_seen(old, new, step):
    assert step in failures(drafted(LOGGER).text, changed(LOGGER, old, new))


COUNTED = device_text(
    """services:
  - service: 5c2e0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - characteristic: 5c2e0002-77aa-4f0e-9d3b-0a1b2c3d4e5f
        as: uint16
        properties: [notify]
        value: {counter: {start: 65500, step: 1}}
        notify: {period: 50 ms}
        descriptors: [{descriptor: characteristic presentation format, raw: 06 00 00 27 01 00 00}]
""",
    name="Counted",
)


@pytest.mark.parametrize(("old", "new"), [("step: 1", "step: 2"), ("step: 1", "step: 0")])
def test_a_stream_that_numbers_its_values_is_held_to_it(old, new):
    text = drafted(COUNTED).text
    assert "    counter: value\n" in text
    assert failures(text, COUNTED) == {}
    assert failures(text, changed(COUNTED, old, new)).keys() == {"notify own 5c2e0002"}


def test_a_battery_that_is_charged_further_passes():
    text = drafted(changed(SHELVES[0], "value: 91 %", "value: 60 %")).text
    assert failures(text, SHELVES[0]) == {}
    assert limit_of(text, "read: battery level", "value") == "{min: 53 %}"


def test_what_is_empty_may_be_filled():
    assert failures(drafted(LOGGER).text, changed(LOGGER, "value: ''", "value: shelf 3")) == {}


def test_a_slow_advertiser_passes_its_own_draft():
    slow = changed(TWINS, "interval: 20 ms", "interval: 3 s")
    text = drafted(slow, repeat=1, listen=1.0).text
    assert "  - scan:\n    for: 19 s\n" in text
    assert limit_of(text, "scan:", "interval").startswith("{min: 1.6 s, max: 4.6 s")
    assert [failures(text, slow, seed) for seed in range(1, 6)] == [{}] * 5


def test_all_limits_of_one_unit_are_guesses():
    made = drafted(LOGGER)
    judged = [step for step in loaded(made.text).steps if step.kind.verb != "discover"]
    assert made.guesses == sum(len(step.limit_names) for step in judged) == 51


REGULAR = COUNTED.replace("period: 50 ms", "period: 100 ms, jitter: 5 ms")


def test_a_stream_that_is_less_regular_is_seen():
    irregular = changed(REGULAR, "jitter: 5 ms", "jitter: 55 ms")
    assert "above the maximum 0.13 s" in failures(drafted(REGULAR).text, irregular)["notify own 5c2e0002"]


@pytest.mark.parametrize("seed", range(2, 8))
def test_no_seed_makes_a_good_device_fail(seed):
    assert failures(drafted(LOGGER).text, LOGGER, seed) == {}
    assert failures(drafted(REGULAR).text, REGULAR, seed) == {}


# --- what spoils the look at a device

MUTE = "firmware revision, properties: [read], value: 3.2.1"


def test_an_attribute_that_never_answers_is_left_out():
    silent = changed(LOGGER, MUTE, f"{MUTE}, on_read: {{silent: true}}")
    made = drafted(silent)
    assert failures(made.text, silent) == {}
    assert "# firmware revision: read firmware revision string: the device did not answer" in made.text
    assert "read: hardware revision" in made.text
    assert made.warning == "the link was lost with 1 attribute, which the plan leaves out: see its end"


def test_nothing_is_asked_of_what_is_skipped():
    silent = changed(LOGGER, MUTE, f"{MUTE}, on_read: {{silent: true}}")
    made = drafted(silent, skip=("firmware revision", "temperature"))
    assert made.warning == ""
    assert "# firmware revision: left out, as it was asked for: no step reads it" in made.text
    assert "notify: temperature" not in made.text


def test_a_link_that_breaks_now_and_then_is_made_again():
    breaking = changed(LOGGER, "mtu: 247", "mtu: 247\nfaults: {disconnect_after: 9 s}")
    made = drafted(breaking, repeat=1)
    assert "read: humidity" in made.text
    assert "notify: temperature" in made.text


def test_what_the_radio_lacks_is_not_in_the_plan():
    evidence = replace(seen(LOGGER), looks=[*seen(LOGGER).looks], lacks=frozenset({"scan.interval", "connect.payload"}))
    evidence.looks[0] = replace(
        evidence.looks[0], advertising=AdvertisingSeen(name="VFL-0042", rssi=-50, interval=10.24)
    )
    text = compose(evidence, Names(), Basis()).text
    assert "for: 2 s" in lines_about(text, "scan:")
    assert not any(line.startswith("interval") for line in lines_about(text, "scan:"))
    assert not any(line.startswith("payload") for line in lines_about(text, "connect:"))
