"""What the host radio has with some steps only."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.plan.loader import load_plan
from benchrig.plan.remarks import remarks
from benchrig.radio.offers import HIDDEN, LACKS, NO_CCCD, READ_IS_HEARD
from benchrig.radio.table import Characteristic, Service, Table
from benchrig.steps import KINDS
from benchrig.steps.attribute import Names
from benchrig.steps.lookup import look_up
from benchrig.values.catalogue import long_uuid

PLAN = "plan: p\ndevice: {select: {name: unit}}\nsteps:\n  - scan:\n  - connect:\n"
STEPS = [
    ("disconnect:\n    expect: {elapsed: {max: 1 s}}", "elapsed"),
    ("discover:\n    expect: {table: {generic access: {device name: [read]}}}", "table"),
    ("discover:\n    expect: {table: {battery: {battery level: []}}}", ""),
    ("discover:\n    expect: {services: {contains: generic access}}", "services"),
    ("discover:\n    expect: {services: {contains: [battery, generic access service]}}", "services"),
    ("discover:\n    expect: {services: {length: 3}}", "services"),
    ("discover:\n    expect: {services: {contains: battery}}", ""),
    ("read: battery level/client characteristic configuration\n    expect: {raw: {equals: '00 00'}}", "raw"),
    ("read: battery level\n    expect: {raw: {equals: '61'}}", ""),
    ("read: battery level\n    expect: {att_error: {equals: insufficient encryption}}", "att_error"),
    ("read: battery level\n    expect: {att_error: {one_of: [none, insufficient authentication]}}", "att_error"),
    ("write: '2A06'\n    raw: '01'\n    expect: {att_error: {equals: encryption key size too short}}", "att_error"),
    ("read: battery level\n    expect: {att_error: {equals: read not permitted}}", ""),
    (
        "write: '2A06'\n    file: plan.yaml\n    pieces: 20\n    response: false\n    expect: {throughput: {min: 1 kbit/s}}",
        "throughput",
    ),
    ("write: '2A06'\n    file: plan.yaml\n    pieces: 20\n    response: false\n    expect: {count: {min: 1}}", ""),
    ("write: '2A06'\n    file: plan.yaml\n    pieces: 20\n    expect: {throughput: {min: 1 kbit/s}}", ""),
]


def said(folder: Path, step: str, kind: str = "host") -> list[str]:
    path = folder / "plan.yaml"
    path.write_text(f"{PLAN}  - {step}\n", encoding="utf-8")
    return [sentence for _, sentence in remarks(load_plan(path), kind)]


@pytest.mark.parametrize(("step", "reading"), STEPS)
def test_a_limit_that_cannot_be_judged_is_told_before(step: str, reading: str, tmp_path: Path) -> None:
    found = said(tmp_path, step)
    assert [sentence.partition(" is not judged")[0] for sentence in found] == [f"the limit on {reading}"] * bool(
        reading
    )
    assert said(tmp_path, step, "virtual") == []


def test_no_reason_of_a_loss_is_known_to_the_host_in_any_step_in_which_a_link_may_end() -> None:
    verbs = {verb for verb, kind in KINDS.items() if kind.may_lose or kind.wants_loss}
    assert verbs
    assert {f"{verb}.lost_reason" for verb in verbs} == {name for name in LACKS["host"] if "lost_reason" in name}


@pytest.mark.parametrize("name", ["device name", "generic access/appearance", "report map", "0x2A00"])
def test_an_attribute_that_is_hidden_is_told_before(name: str, tmp_path: Path) -> None:
    [sentence] = said(tmp_path, f"read: {name}")
    assert "cannot be reached" in sentence


def test_a_descriptor_that_the_system_writes_itself_is_told_before(tmp_path: Path) -> None:
    step = "write: battery level/client characteristic configuration\n    raw: '01 00'"
    assert said(tmp_path, step) == [NO_CCCD]
    assert said(tmp_path, step, "hci") == []


@pytest.mark.parametrize(
    "step",
    [
        "notify: battery level\n    mode: indication\n    for: 1 s",
        "listen: {battery level: {mode: indication}, device name: }\n    steps: [{wait: 1 s}]",
    ],
)
def test_a_mode_that_the_system_chooses_is_told_before(step: str, tmp_path: Path) -> None:
    found = said(tmp_path, step)
    assert sum("'mode: indication' does not work everywhere" in sentence for sentence in found) == 1
    assert sum("'device name' cannot be reached" in sentence for sentence in found) == ("device name" in step)
    assert said(tmp_path, step, "hci") == []


def test_a_read_of_what_is_listened_to_is_told_before(tmp_path: Path) -> None:
    step = "listen: {battery level: }\n    steps: [{read: temperature}, {repeat: 2, steps: [{read: '0x2A19'}]}]"
    assert said(tmp_path, step) == [f"'read 0x2A19' cannot be done: {READ_IS_HEARD}"]
    assert said(tmp_path, step, "hci") == []


@pytest.mark.parametrize(
    "step",
    [
        "group: battery level\n    steps: [{read: battery level}]",
        "group: device name\n    steps: [{read: battery level}]",
        "repeat: {appearance: [1, 2]}\n    steps: [{wait: '${appearance} s'}, {read: battery level}]",
        "compute: {appearance: '1 + 1'}",
    ],
)
def test_a_word_that_is_no_attribute_there_is_told_nothing_of(step: str, tmp_path: Path) -> None:
    assert said(tmp_path, step) == []


def test_what_is_hidden_is_not_the_units_fault() -> None:
    level = Characteristic(0x0012, long_uuid(0x2A19), ("read",))
    table = Table((Service(0x0010, long_uuid(0x180F), (level,)),), HIDDEN["host"])
    for name in ("device name", "generic access/device name", "handle 0x0003"):
        with pytest.raises(StationError, match="does not show"):
            look_up(table, Names(), name)
    assert look_up(table, Names(), "handle 0x0012").found.attribute == level
    assert [table.may_hide(handle) for handle in (0x000F, 0x0010, 0x0011, 0x0012, 0x0013)] == [True, *[False] * 4]


PAIRS = [
    ("pair: none", []),
    ("pair: keyboard\n    key_size: 7", ["cannot be done: Linux offers keys of 16 bytes"]),
    ("pair: keyboard\n    mitm: false", ["cannot be done: Linux asks for protection"]),
    ("pair: none\n    mitm: true", ["cannot be done: Linux asks for protection"]),
    ("pair: display\n    passkey: '000001'", ["cannot be done: Linux shows a random passkey"]),
    ("pair: keyboard\n    passkey: '000001'", []),
    ("pair: keyboard\n    pairing: legacy", ["does not work everywhere: Linux does it only for who may manage"]),
    (f"pair: none\n    out_of_band: {{key: '{'00' * 16}'}}", ["does not work everywhere: Linux does it only", "cannot be done: Linux pairs out of band"]),
    ("pair: none\n    expect: {key_size: {min: 16}}", ["the limit on key_size is not judged everywhere"]),
    ("pair: keyboard\n    expect: {failure: {equals: confirm value failed}}", ["the limit on failure is not judged everywhere"]),
]  # fmt: skip


@pytest.mark.parametrize(("step", "told"), PAIRS)
def test_what_the_host_cannot_pair_is_told_before(step: str, told: list[str], tmp_path: Path) -> None:
    first, *found = said(tmp_path, step)
    assert "on Linux alone benchrig decides how it pairs" in first
    assert len(found) == len(told)
    assert all(each in sentence for each, sentence in zip(told, found, strict=True))
    assert said(tmp_path, step, "hci") == []
