"""The hash of a table, and a device whose hash is wrong."""

from __future__ import annotations

import msgspec

from benchrig.desk.findings import findings
from benchrig.desk.findings.database_hash import database_hash, hashed
from benchrig.desk.inspection import AttributeSeen
from benchrig.faults.mutation import Change, Mutation, in_turn, replaced
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.words import CharacteristicUuid
from benchrig.values.catalogue import long_uuid
from tests.desk.carriers import carrier
from tests.desk.defects import raw
from tests.desk.kit import inspected

# The example database of the Core specification, Vol 3 Part G appendix B: handle, type, value; the values of the
# configuration descriptors and of the characteristics do not count.
EXAMPLE = """
0001 2800 0018 | 0002 2803 0A0300002A | 0003 2A00 | 0004 2803 020500012A | 0005 2A01
0006 2800 0118 | 0007 2803 200800052A | 0008 2A05 | 0009 2902 | 000A 2803 0A0B00292B | 000B 2B29
000C 2803 020D002A2B | 000D 2B2A | 000E 2800 0818 | 000F 2802 140016000F18 | 0010 2803 A21100182A | 0011 2A18
0012 2902 | 0013 2900 0000 | 0014 2801 0F18 | 0015 2803 021600192A | 0016 2A19
"""
MESSAGE = (
    "010000280018020003280a0300002a04000328020500012a06000028011807000328200800052a090002290a0003280a0b00292b0c00032802"
    "0d002a2b0e00002808180f000228140016000f1810000328a21100182a12000229130000290000140001280f1815000328021600192a"
)
EXAMPLE_HASH = "f1ca2d48ecf58bac8a8830bbb9fba990"


def example() -> list[AttributeSeen]:
    made = []
    for line in EXAMPLE.replace("\n", "|").split("|"):
        if words := line.split():
            made.append(AttributeSeen(int(words[0], 16), long_uuid(int(words[1], 16)), "".join(words[2:])))
    return made


def test_the_hash_of_the_example_database() -> None:
    assert hashed(example()).hex() == MESSAGE
    assert database_hash(example())[::-1].hex() == EXAMPLE_HASH


def test_the_order_of_the_attributes_does_not_matter() -> None:
    assert database_hash(example()[::-1]) == database_hash(example())


def hash_device(value: str, *changes: Change) -> DeviceSpec:
    """Two services, the hash, and a descriptor of each kind that counts or does not."""
    hash_of = Mutation("another hash", "generic attribute/database hash", raw(value)).apply
    return in_turn(hash_of, *changes)(carrier("database hash"))


def test_a_hash_that_matches_the_table_and_one_that_does_not() -> None:
    wrong = inspected(hash_device("00" * 16))
    due = database_hash(wrong.outline).hex()
    [finding] = findings(wrong)
    assert (finding.rule, finding.where, finding.severity) == (
        "hash-mismatch",
        "generic attribute/database hash",
        "error",
    )
    assert due.upper() in finding.sentence
    assert findings(inspected(hash_device(due))) == []
    [finding] = findings(inspected(hash_device(bytes.fromhex(due)[::-1].hex())))
    assert "in reverse" in finding.sentence


def test_the_outline_is_the_table_of_the_device() -> None:
    seen = inspected(hash_device("00" * 16))
    handles = [each.handle for each in seen.outline]
    assert handles == list(range(1, len(handles) + 1))
    # properties, handle of the value, UUID; least significant octet first (Core Vol 3 Part G 3.3.1)
    assert [each.value for each in seen.outline[:3]] == ["0018", "020300002A", ""]


def test_a_table_that_the_radio_hides_is_not_judged() -> None:
    seen = inspected(hash_device("00" * 16))
    hidden = msgspec.structs.replace(seen, outline=[], whole_table=False, services=seen.services[1:])
    assert [(one.rule, one.severity) for one in findings(hidden)] == [("hash-unchecked", "note")]


def test_a_hash_and_service_changed_demand_the_features_of_the_client() -> None:
    # Core Vol 3 Part G table 7.1, C.2
    other = Mutation(
        "features of the server instead of those of the client",
        "generic attribute/client supported features",
        replaced(characteristic=CharacteristicUuid.from_source("server supported features"), properties=["read"]),
    )
    device = hash_device("00" * 16, other.apply)
    found = {(one.rule, one.where) for one in findings(inspected(device))}
    assert found == {
        ("missing-characteristic", "generic attribute"),
        ("hash-mismatch", "generic attribute/database hash"),
    }
