"""What is wrong with a device: exactly that, and nothing with a sound one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import msgspec
import pytest

from benchrig.desk.findings import Finding, families, findings
from benchrig.desk.inspecting_security import PairingLook
from benchrig.desk.inspection import Inspection, content
from benchrig.radio.security import Capability
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.values import catalogue
from tests.desk.carriers import HEAD, OWN, TEXTS, carrier, device, own_service
from tests.desk.defects import CASES, Case
from tests.desk.kit import inspected

# as what the device of this family is paired with, and what is tried with it
LOOKS = {"pairing": PairingLook("keyboard", twice=True, writes=(OWN(2),))}


@cache
def found_on_carrier(family: str) -> list[Finding]:
    return findings(inspected(carrier(family), LOOKS.get(family)))


@pytest.mark.parametrize("family", [family for family in TEXTS if family != "database hash"])
def test_a_sound_device_has_no_findings(family: str) -> None:
    assert found_on_carrier(family) == []


@pytest.mark.parametrize("case", CASES, ids=[f"{number} {case.rule}" for number, case in enumerate(CASES)])
def test_a_change_breaks_its_rule_and_no_other(case: Case) -> None:
    [found] = new_findings(case, case.broken())
    assert (found.rule, found.where, found.severity) == (case.rule, case.place, case.severity)
    assert found.sentence
    assert found.source
    if (mended := case.mended()) is not None:
        assert new_findings(case, mended) == []


def new_findings(case: Case, device: DeviceSpec) -> list[Finding]:
    before = found_on_carrier(case.family)
    return [finding for finding in findings(inspected(device, LOOKS.get(case.family))) if finding not in before]


def test_every_rule_of_a_family_is_broken_by_a_change_of_its_device() -> None:
    # what a change of the device alone cannot break: a plan beside it, extended advertising, the hash of a whole table
    elsewhere = {"value-against-plan", "long-advertising", "hash-unchecked", "hash-mismatch"}
    # what a bench that can do less comes to, and octets that no device sends that can be paired with
    elsewhere |= {"just-works", "pairing-response"}
    rules = {(family.name, rule.name) for family in families() for rule in family.rules if rule.name not in elsewhere}
    broken = {(case.family, case.rule) for case in CASES}
    assert broken == rules


@pytest.mark.parametrize(("capability", "rules"), [("none", ["just-works"]), ("keyboard", [])])
def test_a_bench_that_can_do_less_learns_what_the_device_could_do(capability: Capability, rules: list[str]) -> None:
    assert [one.rule for one in findings(inspected(carrier("pairing"), PairingLook(capability)))] == rules


@pytest.mark.parametrize(
    ("field", "value", "said"),
    # Core Vol 3 Part H 2.3.4, tables 3.4 and 3.5, figures 3.3 and 3.11
    [
        ("io_capability", 4, ""),
        ("io_capability", 5, "capability 0x05 is reserved"),
        ("oob", 1, ""),
        ("oob", 2, "is 0x02"),
        ("auth_req", 0x3D, ""),
        ("auth_req", 0x4D, "0x4D have reserved bits"),
        ("auth_req", 0x0E, "0x0E have reserved bits"),
        ("key_size", 17, "17 bytes, expected 7 to 16"),
        ("key_size", 6, "6 bytes, expected 7 to 16"),
        ("responder_keys", 0x0F, ""),
        ("responder_keys", 0x10, "which keys are given"),
    ],
)
def test_what_a_pairing_response_must_not_say(field: str, value: int, said: str) -> None:
    seen = inspected(carrier("pairing"), PairingLook("keyboard"))
    assert seen.security is not None
    assert seen.security.features is not None
    seen.security.features = replace(seen.security.features, **{field: value})
    found = findings(seen)
    assert [one.rule for one in found] == ["pairing-response"] * bool(said)
    assert not said or said in found[0].sentence


SUBSCRIBABLE = f"{HEAD}services:\n{own_service('as: uint8, properties: [read, notify], value: 1')}"


def advertised(**more: object) -> Inspection:
    seen = inspected(carrier("advertising"))
    return msgspec.structs.replace(seen, advertising=msgspec.structs.replace(seen.advertising, **more))


def test_what_only_extended_advertising_carries_is_said() -> None:
    # Core Vol 6 Part B 2.3.1: 31 octets in a legacy advertising PDU
    assert findings(advertised(payload="020106" + "1BFFFFFF" + "00" * 24)) == []
    assert [one.rule for one in findings(advertised(payload="020106" + "1CFFFFFF" + "00" * 25))] == ["long-advertising"]


def test_without_a_payload_the_name_may_be_a_short_one() -> None:
    # an operating system does not tell a complete name from a shortened one
    assert findings(advertised(payload=None, scan_response=None, name="unit")) == []
    assert [one.rule for one in findings(advertised(payload=None, scan_response=None, name="Unit"))] == ["name-differs"]


@pytest.mark.parametrize(
    ("payload", "malformed"),
    [
        # payloads of the Core Specification Supplement's forms; tshark 4.0.17 takes the first two and calls the last malformed
        ("0201060A0962656E63682D647574", False),
        ("0201060000000000", False),
        ("020106090941", True),
    ],
)
def test_payloads_that_are_well_formed_and_not(payload: str, malformed: bool) -> None:
    rules = {one.rule for one in findings(advertised(payload=payload))}
    assert ("malformed-advertising" in rules) is malformed


def test_a_descriptor_that_wants_a_bond() -> None:
    # Core Vol 3 Part G 3.3.3.3: readable with no authentication or authorization
    seen = inspected(device(SUBSCRIBABLE))
    [(_, own)] = list(seen.characteristics())[-1:]
    own.descriptors[0].content, own.descriptors[0].unread = None, "ATT error 0x05 (insufficient authentication)"
    own.descriptors[0].refused = 5
    [found] = findings(seen)
    assert (found.rule, found.where.rpartition("/")[2]) == ("must-be-readable", "client characteristic configuration")


def test_what_a_radio_hides_is_no_defect() -> None:
    seen = advertised(services=[catalogue.long_uuid(0x180F), catalogue.long_uuid(0x1800)])
    hidden = msgspec.structs.replace(seen, whole_table=False, services=[])
    assert [(one.rule, one.severity) for one in findings(hidden)] == [("service-not-there", "note")]


def test_what_an_operating_system_shows_otherwise_is_no_defect() -> None:
    # an empty client characteristic configuration, and extended properties among the properties
    seen = inspected(device(SUBSCRIBABLE))
    [(_, own)] = list(seen.characteristics())[-1:]
    own.properties.append("writable auxiliaries")
    own.descriptors[0].content = content(b"", catalogue.definition(0x2902), "assigned number")
    assert findings(msgspec.structs.replace(seen, whole_table=False)) == []
    assert [one.rule for one in findings(seen)] == ["wrong-length"]


def test_errors_come_first() -> None:
    idle = "as: uint8, properties: [read], value: 1, descriptors: [{descriptor: '2902', raw: '0400'}]"
    found = findings(inspected(device(f"{HEAD}services:\n{own_service(idle)}")))
    assert [one.severity for one in found] == ["error", "warning"]


def test_a_beacon_needs_no_service_for_its_service_data() -> None:
    # as Eddystone does with 0xFEAA
    seen = advertised(services=[catalogue.long_uuid(0xFEAA)], service_data={catalogue.long_uuid(0xFEAA): "10 00"})
    assert findings(seen) == []


@pytest.mark.parametrize(
    ("name", "measurement"), [("blood pressure", "blood pressure measurement"), ("weight scale", "weight measurement")]
)
def test_features_may_be_indicated(name: str, measurement: str) -> None:
    raw = "00 78 00 50 00 5D 00" if name == "blood pressure" else "00 10 27"
    feature = "raw: '00 00'" if name == "blood pressure" else "raw: '00 00 00 00'"
    services = (
        f"services: [{{service: {name}, characteristics: ["
        f"{{characteristic: {measurement}, properties: [indicate], raw: '{raw}'}}, "
        f"{{characteristic: {name} feature, properties: [read, indicate], {feature}}}]}}]"
    )
    assert findings(inspected(device(HEAD + services))) == []
