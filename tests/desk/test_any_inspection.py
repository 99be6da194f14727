"""Whatever a device says: findings and comparisons come out, never an error."""

from __future__ import annotations

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.desk.comparing import compare
from benchrig.desk.findings import findings
from benchrig.desk.findings.requirements import requirements
from benchrig.desk.findings.values import length_fits
from benchrig.desk.inspecting import PROPERTIES, content
from benchrig.desk.inspection import (
    AdvertisingSeen,
    AttributeSeen,
    CharacteristicSeen,
    Content,
    DescriptorSeen,
    Inspection,
    ServiceSeen,
    Timing,
    long_uuid,
)
from benchrig.errors import MalformedValue
from benchrig.values import catalogue

DEFINED = [number for number in range(0x2A00, 0x2C00) if catalogue.definition(number) is not None]
LISTED = [int(uuid, 16) for rule in requirements().services.values() for uuid in rule.characteristics]
SERVICES = st.sampled_from([int(uuid, 16) for uuid in requirements().services] + [0x1800, 0xFFE0])
CHARACTERISTICS = st.sampled_from(DEFINED + LISTED + [0x2FFF])
DESCRIPTORS = st.sampled_from([*range(0x2900, 0x2910), 0x2FFF])
UNREAD = st.sampled_from(
    ["", "not readable", "ATT error 0x02 (read not permitted)", "ATT error 0x0F", "ATT error 0x05"]
)
DATA = st.binary(max_size=20)
HANDLES = st.integers(1, 0xFFFF)


def contents(number: int) -> st.SearchStrategy[Content | None]:
    """Bytes read in the assigned format, in one of a plan, or in none; or no bytes."""
    assigned = DATA.map(lambda data: content(data, catalogue.definition(number), "assigned number"))
    plan = DATA.map(lambda data: Content(data.hex(), "x", format="utf8", known_by="plan"))
    return st.one_of(st.none(), assigned, plan, DATA.map(lambda data: content(data, None)))


@st.composite
def descriptors(draw: st.DrawFn) -> DescriptorSeen:
    number = draw(DESCRIPTORS)
    form = (
        catalogue.valid_range_format(catalogue.definition(0x2A6E)) if number == 0x2906 else catalogue.definition(number)
    )
    seen = draw(st.one_of(st.none(), DATA.map(lambda data: content(data, form, "assigned number" if form else ""))))
    return DescriptorSeen(draw(HANDLES), long_uuid(number), f"{number:04X}", seen, draw(UNREAD))


@st.composite
def characteristics(draw: st.DrawFn) -> CharacteristicSeen:
    number = draw(CHARACTERISTICS)
    properties = draw(st.lists(st.sampled_from(PROPERTIES), unique=True))
    inner = draw(st.lists(descriptors(), max_size=3))
    return CharacteristicSeen(
        draw(HANDLES), long_uuid(number), f"{number:04X}", properties, inner, draw(contents(number)), draw(UNREAD)
    )


@st.composite
def inspections(draw: st.DrawFn) -> Inspection:
    services = [
        ServiceSeen(draw(HANDLES), long_uuid(number), f"{number:04X}", draw(st.lists(characteristics(), max_size=4)))
        for number in draw(st.lists(SERVICES, max_size=4))
    ]
    payload = st.one_of(st.none(), st.binary(max_size=40).map(bytes.hex))
    heard = AdvertisingSeen(draw(st.text(max_size=5)), [long_uuid(draw(SERVICES))], payload=draw(payload),
                            scan_response=draw(payload), connectable=draw(st.booleans()))  # fmt: skip
    outline = [AttributeSeen(handle, long_uuid(0x2803), "0A") for handle in draw(st.lists(HANDLES, max_size=3))]
    return Inspection("0", "", "r", True, "", "", heard, Timing(0, 0), 20, draw(st.booleans()), services, outline)


@settings(max_examples=3000, deadline=None)
@given(inspections())
def test_findings_come_out_of_anything(seen: Inspection) -> None:
    for finding in findings(seen):
        assert finding.rule
        assert finding.sentence
        assert finding.source


@settings(max_examples=50, deadline=None)
@given(inspections(), inspections())
def test_two_of_anything_compare_and_nothing_differs_from_itself(one: Inspection, other: Inspection) -> None:
    there, back = compare(one, other), compare(other, one)
    assert (there.added, there.removed, there.moved) == (back.removed, back.added, back.moved)
    assert compare(one, one).same_structure
    assert not compare(one, one).values


@settings(max_examples=50, deadline=None)
@given(inspections())
def test_anything_survives_a_file(seen: Inspection) -> None:
    assert msgspec.yaml.decode(msgspec.yaml.encode(seen), type=Inspection) == seen


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(DEFINED), DATA)
def test_a_length_that_does_not_fit_cannot_be_read(number: int, data: bytes) -> None:
    form = catalogue.definition(number)
    assert form is not None
    try:
        form.decode(data)
    except MalformedValue:
        return
    assert length_fits(form, data)
