"""Names of attributes that stand in a file of their own: for plans, device files and the commands without a plan."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.brought import bring
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems
from tests.cli.kit import here
from tests.plan.building import STEPS, plan_of, problem_of, problems_of, where
from tests.run.kit import run

NAMES = "attributes:\n  limit: {uuid: 0xFFF1, as: sint16, scale: 0.01, unit: °C}\n  state: {uuid: 0xFFF2, as: uint8}\n"
DEVICE = """\
device: unit 1
use: names.yaml
services:
  - service: 0xFFF0
    characteristics:
      - {characteristic: limit, properties: [read, write], value: 5 °C}
      - {characteristic: state, name: my state, as: uint16, properties: [read], value: 300}
"""


def with_names(
    use: str, attributes: str = "", steps: str = "  - read: limit\n    expect: {value: {max: 8 °C}}\n"
) -> str:
    own = f"\n  attributes: {attributes}" if attributes else ""
    return f"plan: a plan\ndevice:\n  select: {{name: 'unit*'}}\n  use: {use}{own}\n{STEPS}{steps}"


def test_a_plan_takes_names_from_files_beside_its_own() -> None:
    own = "{own: {uuid: 0xFFF3}, state: {uuid: 0xFFF2, as: uint8}}"
    plan = plan_of(with_names("[names.yaml, more.yaml]", own), names=NAMES, more="attributes: {more: {uuid: 0xFFF4}}")
    assert [*plan.names.aliases] == ["limit", "state", "more", "own"]


def test_the_names_count_for_the_hash() -> None:
    hashes = [plan_of(with_names("names.yaml"), names=NAMES + more).hash for more in ("", "  x: {uuid: 0xFFF9}\n")]
    assert hashes[0] != hashes[1]


def test_another_meaning_is_told_with_both_places() -> None:
    problem = problem_of(with_names("names.yaml", "{limit: {uuid: 0xFFF1, as: uint16}}"), names=NAMES)
    assert where(problem) == "plan.yaml:5:16"
    assert problem.message.startswith("the name 'limit' has another meaning in ")
    assert problem.message.endswith("names.yaml:2")


@pytest.mark.parametrize(
    ("use", "names", "said", "place"),
    [
        ("names.yaml", NAMES + "select: {name: a}\n", "unknown key 'select'", "names.yaml:4:1"),
        ("names.yaml", NAMES + "use: more.yaml\n", "unknown key 'use'", "names.yaml:4:1"),
        ("names.yaml", "atributes: {}\n", "unknown key 'atributes'", "names.yaml:1:1"),
        ("names.yaml", "attributes: {limit: {uid: 0xFFF1}}", "unknown key 'uid'", "names.yaml:1:22"),
        ("names.yaml", "attributes: {limit: {uuid: 0xFFF1, as: '${a}'}}", "${a} is not allowed here", "names.yaml:1:40"),
        ("names.yaml", "attributes: {limit: {uuid: 0xFFF1, service: btatery}}", "unknown service", "names.yaml:1:45"),
        ("plan.yaml", NAMES, "unknown key 'plan'", "plan.yaml:1:1"),
        ("gone.yaml", NAMES, "the file gone.yaml cannot be read: No such file or directory", "plan.yaml:4:8"),
        ("[5]", NAMES, "expected a file name, found the number 5", "plan.yaml:4:9"),
        ("[]", NAMES, "expected a file name, found none", "plan.yaml:4:8"),
        ("'${file}'", NAMES, "${file} is not allowed here", "plan.yaml:4:8"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_file_of_names(use: str, names: str, said: str, place: str) -> None:
    problems = problems_of(with_names(use), names=names)
    assert (said, place) in [(said if said in each.message else each.message, where(each)) for each in problems]


def test_a_wrong_name_is_told_once_and_not_in_each_step_that_uses_it() -> None:
    names = NAMES.replace("sint16", "sint17")
    assert len(problems_of(with_names("names.yaml"), names=names)) == 1
    both = problems_of(with_names("names.yaml").replace("plan: a plan\n", ""), names=names)
    assert sorted(where(each) for each in both) == ["names.yaml:2:29", "plan.yaml:1:1"]


# --- device files, and what a command takes


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    (tmp_path / "names.yaml").write_text(NAMES, encoding="utf-8")
    (tmp_path / "device.yaml").write_text(DEVICE, encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(with_names("names.yaml"), encoding="utf-8")
    return tmp_path


def test_a_device_file_takes_uuid_and_format_from_a_name(beside: Path) -> None:
    assert run(beside / "plan.yaml", beside / "device.yaml").ended.verdict == "pass"
    faulty = beside / "faulty.yaml"
    faulty.write_text(DEVICE.replace("5 °C", "9 °C"), encoding="utf-8")
    assert run(beside / "plan.yaml", faulty).ended.cause == "limit"


def test_a_changed_file_of_names_is_read_again(beside: Path) -> None:
    run(beside / "plan.yaml", beside / "device.yaml")
    (beside / "names.yaml").write_text(NAMES.replace("0xFFF1", "0xFFF7"), encoding="utf-8")
    assert run(beside / "plan.yaml", beside / "device.yaml").ended.verdict == "pass"


@pytest.mark.parametrize(
    ("device", "names", "said"),
    [
        (
            DEVICE.replace("characteristic: limit", "characteristic: limti"),
            NAMES,
            "device.yaml:6:26: unknown characteristic 'limti' did you mean 'limit'?",
        ),
        (DEVICE, NAMES.replace("uuid: 0xFFF1", "handle: 0x0010"), "device.yaml:6:26: 'limit' is the name of a handle"),
        (DEVICE, NAMES.replace("sint16", "sint17"), "names.yaml:2:29: unknown format"),
        (DEVICE, "names: {}", "names.yaml:1:1: unknown key 'names'"),
        (DEVICE.replace("use: names.yaml", "use: gone.yaml"), NAMES, "gone.yaml:1:1: "),
        (f"devices:\n  - {{device: a, use: names.yaml}}\n{DEVICE[:0]}", NAMES, "names are for a whole file"),
    ],
)
def test_what_is_wrong_with_the_names_of_a_device_file(beside: Path, device: str, names: str, said: str) -> None:
    (beside / "device.yaml").write_text(device, encoding="utf-8")
    (beside / "names.yaml").write_text(names, encoding="utf-8")
    problems = Problems()
    assert load_devices([beside / "device.yaml"], problems) == []
    assert any(said in f"{where(each)}: {each.message} {each.advice}" for each in problems.found), problems.found


def test_names_for_a_command_come_from_a_plan_a_file_of_names_or_a_device_file(beside: Path) -> None:
    brought = {name: bring(beside / f"{name}.yaml") for name in ("plan", "names", "device")}
    assert [[*each.names.aliases] for each in brought.values()] == [
        ["limit", "state"],
        ["limit", "state"],
        ["limit", "my state"],
    ]
    selected = {name: each.selection() for name, each in brought.items()}
    assert selected["plan"] is not None
    assert (selected["names"], selected["device"]) == (None, None)
    assert {str(each.names.meaning("limit").format) for each in brought.values()} == {
        str(brought["plan"].names.meaning("limit").format)
    }


TWICE = """\
device: unit 1
services:
  - service: 0xFFF0
    characteristics:
      - {characteristic: 0xFFF1, name: left, as: uint8, properties: [read], value: 1}
      - {characteristic: 0xFFF1, name: right, as: uint8, properties: [read], value: 2}
  - service: 0xFFE0
    characteristics:
      - {characteristic: 0xFFF1, name: other, as: uint8, properties: [read], value: 3}
"""


def test_what_a_device_has_twice_is_told_apart_by_service_and_order(tmp_path: Path) -> None:
    device = tmp_path / "twice.yaml"
    device.write_text(TWICE, encoding="utf-8")
    read = here("read", "-p", device, "--radio", f"virtual:{device}", "left", "right", "other", cwd=tmp_path)
    assert read.stdout.splitlines() == ["left: 1  [01]", "right: 2  [02]", "other: 3  [03]"]


def test_two_devices_with_two_meanings_for_a_name_give_none(tmp_path: Path) -> None:
    one, two = ("device: {}\n    services: [{{service: 0xFFF0, characteristics: [{{characteristic: {}, name: a, properties: [read], raw: ''}}]}}]".format(*each)
                for each in (("one", "0xFFF1"), ("two", "0xFFF2")))  # fmt: skip
    (tmp_path / "two.yaml").write_text(f"devices:\n  - {one}\n  - {two}\n", encoding="utf-8")
    with pytest.raises(PlanError, match="another meaning for 'a'"):
        bring(tmp_path / "two.yaml")


def test_the_commands_take_a_file_of_names(beside: Path) -> None:
    radio = ("--radio", f"virtual:{beside / 'device.yaml'}")
    read = here("read", "-p", "names.yaml", *radio, "limit", cwd=beside)
    assert "5 °C" in read.stdout
    assert here("check", "names.yaml", cwd=beside).stdout.startswith("names.yaml: OK, 2 names")
    decoded = here("decode", "--attribute", "limit", "-p", "names.yaml", "F4 01", cwd=beside)
    assert "5 °C" in decoded.stdout
    (beside / "names.yaml").write_text(NAMES.replace("sint16", "sint17"), encoding="utf-8")
    assert (
        here("check", "names.yaml", cwd=beside).returncode,
        here("read", "-p", "names.yaml", *radio, "limit", cwd=beside).returncode,
    ) == (4, 4)


def test_a_file_that_is_not_there_is_named_as_the_plan_writes_it() -> None:
    [problem] = problems_of(with_names("./namse.yml"), names=NAMES)
    assert (where(problem), problem.advice) == ("plan.yaml:4:8", "did you mean 'names.yaml'?")
