"""Whatever a device sends, its draft is a plan, and the plan accepts what was seen."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.desk.inspection import (
    AdvertisingSeen,
    CharacteristicSeen,
    Content,
    DescriptorSeen,
    ServiceSeen,
)
from benchrig.desk.paths import attributes_in
from benchrig.draft.compose import compose
from benchrig.draft.evidence import Evidence, KnownUnit, Snapshot
from benchrig.draft.naming import table_of
from benchrig.errors import MalformedValue
from benchrig.plan.filling import filled
from benchrig.plan.model import Plan
from benchrig.propose.proposal import Basis
from benchrig.steps.attribute import Names
from benchrig.steps.base import format_readings
from benchrig.steps.discover import PROPERTIES
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.assigned import assigned
from benchrig.values.catalogue import long_uuid
from tests.draft.kit import loaded

OWN = "5c2d0001-77aa-4f0e-9d3b-0a1b2c3d4e5f"
OTHER = "5c2d0002-77aa-4f0e-9d3b-0a1b2c3d4e5f"
# what readers of YAML, regular expressions and plans give a meaning to
HOSTILE = [
    "no", "null", "~", "0x10", "007", "1e5", "12:30", "2026-05-01", "1_000", "=", "<<", "- a", "a: b", "a #b", "'", '"',
    "\\", "[a]", "{a}", "&a", "*a", "!a", "%a", "@a", "`a", "| a", "> a", "? a", "${x}", "$$", "$", "a\n- b", "\t", "\x00",
    "\x1b[2J", "\x85", "\u2028", "\ufeff", "\u202e", "\U0001f600", "\ufffe", "\ud800", "(?P<x>", "a|b", "^.*$", " a ", "",
    "---", "...", "*?[", "serial/[0]", "battery level", "handle 0x0001",
]  # fmt: skip
texts = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=12), st.text("${}'\"\\#:-[]*0aA\n ", max_size=12))


def raw(data: bytes) -> Content:
    return Content(data.hex().upper())


def text_of(text: str) -> Content:
    return raw(text.encode("utf-8", "replace"))


def look(characteristics: list[CharacteristicSeen], unit: str = "C4:00:00:00:00:01", name: str = "unit") -> Snapshot:
    service = ServiceSeen(1, OWN, "", characteristics)
    return Snapshot(unit, [service], AdvertisingSeen(name=name, services=[OWN]), 0.5)


def plan_of(*looks: Snapshot) -> Plan:
    """The draft as it loads."""
    met = [KnownUnit(look.unit, look.advertising.name if look.advertising else "", look.unit) for look in looks]
    return loaded(compose(Evidence(met=met, looks=[*looks]), Names(), Basis()).text)


def limits_of(plan: Plan, step: str) -> dict[str, Any]:
    bound = filled(next(each for each in plan.steps if each.name == step), {})
    return dict(bound.limits)


@given(name=texts, description=texts, model=texts, serial=texts, refused=texts)
def test_any_text_makes_a_plan(name, description, model, serial, refused):
    plan = plan_of(
        look(
            [
                CharacteristicSeen(2, long_uuid(0x2A24), "", ["read"], content=text_of(model)),
                CharacteristicSeen(4, long_uuid(0x2A25), "", ["read"], content=text_of(serial)),
                CharacteristicSeen(6, OTHER, "", ["read"], [DescriptorSeen(7, long_uuid(0x2901), "", text_of(description))], unread=refused),
            ],
            name=name,
        )
    )  # fmt: skip
    found = limits_of(plan, "read model number").get("value")
    assert (found.equals if found else "") == model.encode("utf-8", "replace").decode()
    pattern = limits_of(plan, "read serial number").get("value")
    assert pattern.bind("text").passes(serial.encode("utf-8", "replace").decode()) if pattern else serial == ""


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_of_devices(text):
    plan = plan_of(look([CharacteristicSeen(2, OWN, "", ["read"], content=raw(b"\x01"))], name=text))
    assert plan.selection().services == (OWN,)
    if text and text != "\ud800":
        assert limits_of(plan, "scan")["name"].bind("text").passes(text)


@given(st.data())
def test_any_bytes_of_any_assigned_value_are_accepted_by_their_draft(data):
    number = int(data.draw(st.sampled_from(sorted(assigned().definitions))), 16)
    if catalogue.name_of(number, "characteristic") is None or number in (0x2A00, 0x2A01):
        return
    form = catalogue.definition(number)
    size = form.size if form and form.size else data.draw(st.integers(0, 20))
    one = st.lists(st.binary(min_size=size, max_size=size), min_size=1, max_size=4)
    units = data.draw(st.lists(one, min_size=1, max_size=3))
    properties = data.draw(st.sampled_from([["read"], ["read", "write"]]))
    seen = [
        look([CharacteristicSeen(2, long_uuid(number), "", properties, content=raw(value))], f"C4:00:00:00:00:0{unit}")
        for unit, values in enumerate(units)
        for value in values
    ]
    plan = plan_of(*seen)
    read = next(filled(step, {}) for step in plan.steps if step.kind.verb == "read")
    for value in {value for values in units for value in values}:
        assert refused_by(read, plan.names, value) == {}


def refused_by(step: Any, names: Names, data: bytes) -> dict[str, Any]:
    """The readings of a read step that break its limits."""
    form = step.own_format() or names.meaning(step.read).format
    kinds = {"value": ("bytes", "")}
    if form is not None:
        kinds = {name: (kind.kind, kind.unit) for name, kind in format_readings(form).items()}
    kinds |= {"length": ("number", "bytes"), "raw": ("bytes", "")}
    got: dict[str, Any] = {"length": len(data), "raw": data}
    try:
        value = data if form is None else form.decode(data)
    except MalformedValue as error:
        return {"value": error.message}
    got |= {f"value.{name}": item for name, item in value.items()} if isinstance(value, dict) else {"value": value}
    return {
        name: (got.get(name), limit) for name, limit in step.limits.items() if not limit.bind(*kinds[name]).passes(got[name])
    }  # fmt: skip


# assigned, adopted by nobody, decimal to the eye, an exponent to the eye, own ones that begin alike
POOL = [long_uuid(n) for n in (0x2A19, 0x2A6E, 0x180F, 0x2901, 0xFFF1, 0x1234, 0x12E5)] + [
    OWN, OTHER, "5c2d0001-77aa-4f0e-9d3b-0a1b2c3d4e50", "00000007-77aa-4f0e-9d3b-0a1b2c3d4e5f"
]  # fmt: skip


@given(st.data())
def test_any_table_makes_a_plan_whose_names_are_all_different(data):
    uuids, some = st.sampled_from(POOL), st.lists(st.sampled_from(PROPERTIES), unique=True)
    handles = iter(range(1, 1000))

    def characteristic() -> CharacteristicSeen:
        uuid, value = data.draw(uuids), next(handles)
        descriptors = [
            DescriptorSeen(next(handles), each, "", raw(b"ab")) for each in data.draw(st.lists(uuids, max_size=2))
        ]
        return CharacteristicSeen(value, uuid, "", data.draw(some), descriptors, raw(b"\x01\x02"))

    services = [
        ServiceSeen(
            next(handles), data.draw(uuids), "", [characteristic() for _ in range(data.draw(st.integers(0, 3)))]
        )
        for _ in range(data.draw(st.integers(0, 3)))
    ]
    plan = plan_of(Snapshot("C4:00:00:00:00:01", services, AdvertisingSeen(name="unit"), 0.5))
    known = dict(attributes_in(services))
    table = table_of(services)
    reads = [filled(step, {}).read for step in plan.steps if step.kind.verb == "read"]
    assert len({look_up(table, plan.names, name).found.attribute.handle for name in reads}) == len(known)
    expected = next((filled(step, {}).expect.table for step in plan.steps if step.kind.verb == "discover"), None)
    for service, characteristics in expected.services.items() if expected else ():
        (found,) = (each for each in services if each.uuid == plan.names.service(service))
        named = [plan.names.meaning(name).address.path[-1].uuid for name in characteristics]
        assert named == [each.uuid for each in found.characteristics if each.uuid != long_uuid(0x2901)]
