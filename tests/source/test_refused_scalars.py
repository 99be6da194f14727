"""Every scalar that the strict YAML refuses, behind every key of plans, device files and station files: it is told with
its place, and nothing is computed with it."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from benchrig.errors import PlanError
from benchrig.plan.given_spec import Given
from benchrig.plan.loader import load_plan
from benchrig.plan.model import AttributeSpec, Device, Manufacturer, PlanFile, Select
from benchrig.radio.virtual.advertising_spec import AdvertisingSpec, DataSpec, ManufacturerSpec
from benchrig.radio.virtual.block import entry_of, keys_of
from benchrig.radio.virtual.device_file import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec, FaultSpec, OthersSpec, RssiSpec
from benchrig.radio.virtual.gatt_spec import (
    CharacteristicSpec,
    DescriptorSpec,
    NotifySpec,
    ServiceSpec,
)
from benchrig.radio.virtual.reaction_spec import ReadSpec, RequestSpec, SendSpec, WriteSpec
from benchrig.source.problem import Problem, Problems
from benchrig.source.yaml import _REFUSED, Mapping, Node, Refused, Scalar, Sequence, plain_scalar, read_file
from benchrig.station.station import Station, load_station
from benchrig.steps import KINDS
from benchrig.steps.discover import DiscoverExpect
from benchrig.values.format import FieldSpec
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import Bits

PLANS = Path(__file__).parents[2] / "testplans"
FORMS = ["03", "~", "1e9", "1_0", "on", "n", "True", "Null", "-007", "0o17", "0b1", "-0x1F", "12:30", "2026-01-31",
         "0x1_0", ".5", "21.", ".inf", "9" * 60, "=", "<<"]  # fmt: skip
# scalars of one file that are replaced
MOST = 250

# A model, what else it needs (the key at hand is written over), and the text around it; § is its place.
HEAD = "plan: p\ndevice: {select: {name: u}}\nsteps:\n- connect:\n"
OWN = "plan: p\ndevice: {select: {name: u}, attributes: {own: §}}\nsteps: [{scan: }]\n"
SELECT = "plan: p\ndevice: {select: §}\nsteps: [{scan: }]\n"
DEVICE = "device: u\nservices: [{service: battery, characteristics: [§]}]\n"
LEVEL = "characteristic: battery level, properties: [read, write, notify], value: 5 %"

STEPS = {
    "notify": {"notify": "battery level", "for": "1 s"},
    "write": {"write": "battery level", "value": "5 %"},
    "exchange": {"exchange": "battery level", "value": "5 %"},
    "wait": {"wait": "1 s"},
    "ask": {"ask": "well"},
    "call": {"call": "a:b"},
    "command": {"command": "[a]"},
}
IN_PLANS = [
    (PlanFile, {"plan": "p", "device": "{select: {name: u}}", "steps": "[{scan: }]"}, "§\n"),
    (Device, {"select": "{name: u}"}, "plan: p\ndevice: §\nsteps: [{scan: }]\n"),
    (Select, {"name": "u"}, SELECT),
    (Manufacturer, {"company": "1"}, SELECT.replace("§", "{manufacturer: §}")),
    (AttributeSpec, {"uuid": "0x2A6E", "as": "uint16"}, OWN),
    (FieldSpec, {"name": "a", "as": "uint16"}, OWN.replace("§", "{uuid: 0x2A6E, fields: [§]}")),
    (Given, {"default": "a"}, "given: {a: §}\n" + HEAD + "- read: '${a}'\n"),
    (Limit, {}, HEAD + "- read: battery level\n  expect: {value: §}\n"),
    (Limit, {}, HEAD + "- read: serial number\n  expect: {value: §}\n"),
    (Bits, {"mask": "1", "value": "1"}, HEAD + "- read: battery level\n  expect: {value: {bits: §}}\n"),
    (DiscoverExpect, {}, HEAD + "- discover:\n  expect: §\n"),
    *((kind, STEPS.get(verb, {verb: ""}), HEAD + "- §\n") for verb, kind in KINDS.items()),
]
IN_DEVICES = [
    (DeviceSpec, {"device": "u"}, "§\n"),
    (AdvertisingSpec, {}, "device: u\nadvertising: §\n"),
    (DataSpec, {}, "device: u\nadvertising: {data: §}\n"),
    (ManufacturerSpec, {"company": "1"}, "device: u\nadvertising: {data: {manufacturer: §}}\n"),
    (RssiSpec, {}, "device: u\nrssi: §\n"),
    (keys_of(FaultSpec), {}, "device: u\nfaults: §\n"),
    (OthersSpec, {}, "others: [§]\n"),
    (ServiceSpec, {"service": "battery"}, "device: u\nservices: [§]\n"),
    (CharacteristicSpec, {"characteristic": "battery level", "properties": "[read]", "value": "5 %"}, DEVICE),
    (NotifySpec, {"period": "1 s"}, DEVICE.replace("§", "{" + LEVEL + ", notify: §}")),
    (keys_of(ReadSpec), {}, DEVICE.replace("§", "{" + LEVEL + ", on_read: §}")),
    (keys_of(SendSpec), {}, DEVICE.replace("§", "{" + LEVEL + ", on_notify: §}")),
    (keys_of(RequestSpec), {}, "device: u\non_request: §\n"),
    (entry_of(FaultSpec), {}, "device: u\nfaults: {sometimes: [§]}\n"),
    (keys_of(WriteSpec), {}, DEVICE.replace("§", "{" + LEVEL + ", on_write: §}")),
    (DescriptorSpec, {"descriptor": "user description", "value": "a"},
     DEVICE.replace("§", "{" + LEVEL + ", descriptors: [§]}")),
]  # fmt: skip
IN_STATIONS = [(Station, {"station": "s"}, "§\n")]


def texts(models: list[tuple[type, dict[str, str], str]], value: str) -> Iterator[str]:
    """A text for every key of the models, with the value behind it."""
    for model, base, around in models:
        for field in msgspec.structs.fields(model):
            inside = ", ".join(f"{key}: {part}" for key, part in (base | {field.encode_name: value}).items())
            yield around.replace("§", f"{{{inside}}}")


def in_plan(path: Path) -> tuple[Problem, ...]:
    with pytest.raises(PlanError) as refused:
        load_plan(path)
    return refused.value.problems


def in_device(path: Path) -> tuple[Problem, ...]:
    problems = Problems()
    assert not load_devices([path], problems)
    return tuple(problems.found)


def in_station(path: Path) -> tuple[Problem, ...]:
    with pytest.raises(PlanError) as refused:
        load_station(path)
    return refused.value.problems


READERS = {"plans": (in_plan, IN_PLANS), "devices": (in_device, IN_DEVICES), "stations": (in_station, IN_STATIONS)}


def check(path: Path, kind: str, form: str, around: str = "§") -> None:
    problems_in, models = READERS[kind]
    for text in texts(models, around.replace("§", form)):
        path.write_text(text)
        assert any(f"the unquoted '{form}'" in problem.message for problem in problems_in(path)), text


def test_the_forms_are_all_that_are_refused():
    assert all(isinstance(plain_scalar(form), Refused) for form in FORMS)
    assert all(any(pattern.fullmatch(form) for form in FORMS) for pattern, _, _ in _REFUSED)


@pytest.mark.parametrize("kind", READERS)
def test_behind_every_key(tmp_path, kind):
    check(tmp_path / "some.yaml", kind, "03")


@pytest.mark.slow
@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize("form", FORMS)
def test_every_form_behind_every_key_in_a_list_and_as_a_key(tmp_path, kind, form):
    for around in ("§", "[§]", "{§: 1}", "{a: §}"):
        check(tmp_path / "some.yaml", kind, form, around)


def scalars(node: Node) -> Iterator[Scalar]:
    if isinstance(node, Scalar):
        yield node
    elif isinstance(node, Sequence):
        yield from itertools.chain.from_iterable(map(scalars, node.items))
    else:
        yield from itertools.chain.from_iterable((key, *scalars(value)) for key, value in node.entries.values())


def spread(found: list[Scalar]) -> list[Scalar]:
    """Of a long file some everywhere: it is read anew for each of them."""
    return found[:: 1 + len(found) // MOST]


@pytest.mark.slow
@pytest.mark.parametrize(
    "path", [path for path in sorted(PLANS.rglob("*.yaml")) if path.parent.name != "parts"], ids=lambda path: path.name
)
def test_in_place_of_scalars_all_over_the_files_that_ship(tmp_path, path):
    (tmp_path / "parts").symlink_to(PLANS / "parts")
    lines = path.read_text("utf-8").split("\n")
    node = read_file(path, Problems())
    reader = in_plan if isinstance(node, Mapping) and "plan" in node.entries else in_device
    for count, scalar in enumerate(spread(list(scalars(node)))):
        form, at, start = FORMS[count % len(FORMS)], scalar.place.line - 1, scalar.place.column - 1
        written = len(scalar.text) + 2 * scalar.quoted
        changed = lines[at][:start] + form + lines[at][start + written :]
        (tmp_path / path.name).write_text("\n".join([*lines[:at], changed, *lines[at + 1 :]]), "utf-8")
        assert reader(tmp_path / path.name), f"{scalar.place}: {form}"


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize(
    "value",
    [
        "'${x}'",
        "[{a: '${x}', name: '${x}', as: uint16, scale: '${x}'}]",
        pytest.param("['${x}']", marks=pytest.mark.slow),
        pytest.param("{a: '${x}'}", marks=pytest.mark.slow),
    ],
)
def test_a_reference_behind_every_key_ends_in_a_message_or_a_model(tmp_path, kind, value):
    path = tmp_path / "some.yaml"
    load = {"plans": load_plan, "devices": lambda path: load_devices([path], Problems()), "stations": load_station}[
        kind
    ]
    for text in texts(READERS[kind][1], value):
        path.write_text(text)
        with contextlib.suppress(PlanError):
            assert load(path) is not None, text


def test_a_format_that_waits_for_a_value_is_judged_in_the_run(tmp_path):
    path = tmp_path / "some.yaml"
    path.write_text(
        "plan: p\ndevice: {select: {name: u}}\ngiven: {x: {}}\nsteps:\n- connect:\n- read: battery level\n"
        "  format: {fields: [{name: a, as: uint16, scale: '${x}'}]}\n  expect: {value.a: {max: 5}}\n"
    )
    assert load_plan(path).steps[1].step is None
