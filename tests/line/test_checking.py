"""What is wrong with a station before a shift."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.line.approving import all_wanted, approvals_path, approve
from benchrig.line.checking import Checked, checked
from benchrig.line.events import LineStopped
from benchrig.station.station import load_station
from tests.line.events import at, done, lines, shift

PLAN = """plan: a plan
device:
  select: {name: a}
given:
  serial: {matches: 'V\\d'}
  firmware: {default: '3'}
steps:
  - scan:
    expect: {rssi: {min: -70 dBm}, found_after: {max: 1 s}}
  - connect:
  - read: serial number string
    expect: {value: {equals: '${serial}'}}
  - read: firmware revision string
    expect: {value: {equals: '${firmware}'}}
"""
STATION = r"""station: line 3
people: 'P\d'
radios: {left: {radio: 'host:hci0', links: 2}, right: {radio: 'host:hci1'}}
slots:
  '1': {radio: left}
  '2': {radio: right}
products:
  logger: {barcode: '(?P<serial>V\d)', plan: plan.yaml}
references:
  golden: {label: V1, limits: tight.yaml}
  worn: {label: V2, fails: scan}
"""
LIMITS = (
    "limit_set: tight\nplan: a plan\nversion: 1\nowner: Q\nreason: golden\nlimits: {scan: {rssi: {min: -50 dBm}}}\n"
)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("tight.yaml").write_text(LIMITS)
    return tmp_path


def found(old: str = "", new: str = "", plan: tuple[str, str] = ("", ""), *, approved: bool = True) -> Checked:
    """Of the station with one text in place of another one, and of its plan."""
    assert old in STATION
    assert plan[0] in PLAN
    Path("line3.yaml").write_text(STATION.replace(old, new))
    Path("plan.yaml").write_text(PLAN.replace(*plan))
    station = load_station(Path("line3.yaml"))
    if approved:
        approve(
            approvals_path(station, Path("line3.yaml")),
            all_wanted(station),
            "A. Berg",
            datetime(2026, 11, 27, tzinfo=UTC),
        )
    return checked(station, Path("line3.yaml"))


def says(checked: Checked, severity: str = "problem") -> list[tuple[str, str]]:
    assert all(each.advice for each in checked.problems)
    return [(each.subject, each.message) for each in checked.found if each.severity == severity]


def test_a_sound_station():
    sound = found()
    assert says(sound) == []
    assert [message for _, message in says(sound, "note")] == []
    assert sound.proofs == dict.fromkeys(
        "12", "a separate radio: a unit is proven by its level there, and by what it tells"
    )
    who = "approved by A. Berg at 2026-11-27T00:00:00+00:00"
    assert sound.approved == {"product logger": who, "reference golden": who, "reference worn": who}


def test_what_is_not_approved_is_said_of_each():
    bare = found(approved=False)
    assert [subject for subject, _ in says(bare)] == ["product logger", "reference golden", "reference worn"]
    assert all("is not approved at this station: SHA-256 " in message for _, message in says(bare))
    assert set(bare.approved.values()) == {""}


SECOND = "  - read: serial number string\n    expect: {value: {equals: '${serial}'}}\n"
UNREAD = (SECOND, "  - read: battery level\n    expect: {value: {min: 10 %}}\n    name: '${serial}'\n")
PROBLEMS = [
    (("", "", UNREAD), "the plan never reads the serial number of the unit, so nothing shows which unit was tested", "product logger"),
    (("(?P<serial>V", "(?P<serial>V)(?P<colour>"), "the barcode gives 'colour', and the plan has no given value 'colour'", "product logger"),
    (("plan: plan.yaml", "plan: plan.yaml, given: {firmwere: '3'}"), "the plan has no given value 'firmwere'", "product logger"),
    (("fails: scan", "fails: scam"), "the plan has no step 'scam' in which the unit could fail", "reference worn"),
    (("(?P<serial>V", "(?P<number>V"), "the plan needs a value for 'serial'", "product logger"),
    (("station: line 3", "station: line 3\nafter_unit: {command: [no-such-lamp]}"), "the program of after_unit is missing: no-such-lamp", "station"),
    (("{radio: left}", "{radio: left, power: {down: [no-such-relay], up: ['true']}}"), "the program of power of slot 1 is missing: no-such-relay", "station"),
    (("station: line 3", "station: line 3\nforbid: [command]", ("  - connect:\n", "  - command: [ls]\n  - connect:\n")), "plan.yaml:10: the station forbids command steps: 'command ls'", "product logger"),
    (("", "", ("  - connect:\n", "  - power: up\n  - connect:\n")), "plan.yaml:10: slot 2 has no power: 'power up' cannot run there", "product logger"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "said", "subject"), PROBLEMS)
def test_problems(change, said, subject):
    messages = says(found(*change, approved=False))
    assert [each for each, message in messages if message.startswith(said) and subject == each]


TWO = """plan: a plan
devices: {one: {select: {name: a}}, two: {select: {name: b}}}
given:
  serial: {matches: 'V\\d'}
steps:
  - scan:
    device: one
  - connect:
    device: one
  - read: serial number string
    device: one
    expect: {value: {equals: '${serial}'}}
  - scan:
    device: two
"""


def test_a_plan_with_two_devices_is_for_no_slot():
    messages = says(found("", "", (PLAN, TWO), approved=False))
    assert ("product logger", "the plan has several devices (one, two), and a slot holds one unit") in messages


def test_a_label_that_the_plan_does_not_take_is_found():
    [problem] = [
        each for each in says(found("", "", ("'V\\d'", "'V[2-9]'"), approved=False)) if "approved" not in each[1]
    ]
    assert problem[0] == "reference golden"
    assert problem[1].startswith("the given value serial: ")


def test_a_known_bad_unit_fails_in_a_step_without_steps_in_it():
    group = (
        "  - scan:\n    expect",
        "  - group: outer\n    steps:\n      - scan:\n        expect: {rssi: {min: -90 dBm}}\n  - scan:\n    expect",
    )
    [problem] = [
        each for each in says(found("fails: scan", "fails: outer", group, approved=False)) if "approved" not in each[1]
    ]
    assert problem == ("reference worn", "'outer' has steps in it, and one of these fails")


NOTES = [
    (("people: 'P\\d'\n", ""), "any text is taken for a badge"),
    (("  worn: {label: V2, fails: scan}\n", ""), "the station has no known-bad unit: nothing shows during a shift that it judges rightly"),
    (("  golden: {label: V1, limits: tight.yaml}\n", ""), "the station has no golden unit: nothing shows during a shift that it judges rightly"),
    ((", limits: tight.yaml", ""), "the golden unit has no limit set: the station may drift by all that the plan allows"),
    (("", "", ("  - connect:\n", "  - command: [ls]\n  - connect:\n")), "the plan has command steps: an approval does not cover the programs and functions that they run"),
    ((r"(?P<serial>V\d)", r"(?P<serial>V\d)(?P<address>(A[0-9A-F]{11})?)", UNREAD), "the plan never reads the serial number of the unit: one that has a serial number is not judged"),
    (("", "", ("found_after: {max: 1 s}", "interval: {max: 1 s}")), "plan.yaml:9: on the host radio"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "said"), NOTES)
def test_notes(change, said):
    assert any(message.startswith(said) for _, message in says(found(*change, approved=False), "note"))


def test_what_the_line_remembers_is_told():
    events = [shift(), *done("1", unit="V7")[:2], LineStopped(at=at(), why="3 errors")]
    Path("results").mkdir()
    Path("results/line.jsonl").write_bytes(b"junk\n" + lines(events))
    assert says(found(), "note") == [
        ("station", "results/line.jsonl:1: this line is damaged and was left out"),
        ("station", "the line is stopped: 3 errors"),
        ("slot 1", "V7 was cut off in slot 1, and was not cleaned up"),
    ]


SHARED = ("radio: right}\n", "radio: left}\n")
ONE_RADIO = (", right: {radio: 'host:hci1'}", "")


def shared(old: str = "", new: str = "", plan: tuple[str, str] = ("", "")) -> Checked:
    """The same station, whose slots are on one radio."""
    text = STATION.replace(*SHARED).replace(*ONE_RADIO).replace(old, new)
    Path("line3.yaml").write_text(text)
    Path("plan.yaml").write_text(PLAN.replace(*plan))
    return checked(load_station(Path("line3.yaml")), Path("line3.yaml"))


def test_slots_that_share_a_radio_are_proven_by_scanning():
    says_of = "shares its radio: the label of a unit is scanned again when it is taken out"
    assert shared().proofs == dict.fromkeys("12", says_of)


def test_a_step_that_connects_within_holds_the_radio_that_slots_share():
    group = ("  - connect:\n", "  - group: begin\n    steps:\n      - connect:\n")
    said = "plan.yaml:10: 'begin' connects in it: other slots on the same radio wait until it is over"
    assert ("product logger", said) in says(shared(plan=group), "note")
    assert says(found("", "", group), "note") == []


@pytest.mark.parametrize(("of", "severity"), [(shared, "problem"), (found, "note")])
def test_a_label_that_says_nothing_of_its_unit(of, severity):
    bare = of(r"(?P<serial>V\d)", r"V\d")
    said = [message for each, message in says(bare, severity) if each == "product logger"]
    assert any(message.startswith("the barcode has neither a serial number nor an address") for message in said)


def test_a_label_that_says_nothing_needs_a_plan_that_reads_the_serial_number():
    said = "the plan never reads the serial number of the unit, so nothing shows which unit was tested"
    assert ("product logger", said) in says(found(r"(?P<serial>V\d)", r"V\d", UNREAD, approved=False))


def test_a_damaged_file_of_approvals_is_told():
    Path("line3.approvals.yaml").write_text("approvals: 3\n")
    with pytest.raises(PlanError, match="expected a list"):
        found(approved=False)


@pytest.mark.parametrize(
    ("limit", "why"),
    [
        ("scan: {rssi: {min: -80 dBm}}", "'scan', rssi: min -80 dBm goes below min -70 dBm"),
        ("scan: {found_after: {max: 1001 ms}}", "'scan', found_after: max 1.001 s goes above max 1 s"),
        ("scan: {found_after: {max: 900 ms}, rssi: {min: -70 dBm}}", ""),
        ("read serial number string: {value: {equals: V1}}", ""),
    ],
)
def test_a_golden_unit_has_limits_inside_those_of_its_product(limit: str, why: str) -> None:
    """With wider ones it passes at a station that fails others."""
    Path("tight.yaml").write_text(LIMITS.replace("scan: {rssi: {min: -50 dBm}}", limit))
    said = [each.message for each in found().found if each.subject == "reference golden"]
    assert [each.partition("product: ")[2] for each in said] == ([why] if why else [])


AGAIN = "  - read: firmware revision string\n    expect: {value: {equals: '${firmware}'}}\n"
LINK = "  - disconnect:\n  - connect:\n    name: again\n"
SERIAL = "  - read: serial number string\n    name: it once more\n"


@pytest.mark.parametrize(
    ("then", "is_told"),
    [
        (LINK + AGAIN, True),
        (LINK + SERIAL + AGAIN, False),
        (LINK + AGAIN + SERIAL, False),
        (LINK, False),
        ("finally:\n  - connect:\n    name: again\n" + AGAIN, False),
    ],
    ids=["unasked", "asked", "asked later", "nothing judged", "clean-up"],
)
def test_a_link_over_which_nobody_asks_who_answers_is_told(then: str, is_told: bool) -> None:
    said = [each.message for each in found(plan=(AGAIN, AGAIN + then)).found]
    assert any("'again' connects again" in each for each in said) is is_told


def test_what_only_a_slot_with_its_own_radio_can_do_is_found():
    steps = ("  - connect:\n", "  - power: up\n  - ask: green?\n  - connect:\n")
    looked, wired = shared(plan=steps), "works on the power of a slot, and in slots that share a radio"
    assert any(wired in said for _, said in says(looked))
    assert any("the label of the unit is scanned before each answer" in said for _, said in says(looked, "note"))
    assert not any("share a radio" in each.message for each in found("", "", steps).found)
