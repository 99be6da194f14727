"""What was done in a session, as a plan that does it again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.desk.desk import Desk
from benchrig.desk.prompt.deeds import MOST_DEEDS, Connected, Deed, ReadDone, Subject, WatchDone, WriteDone
from benchrig.desk.prompt.saving import Story, plan_text, save
from benchrig.desk.prompt.session import Session
from benchrig.desk.prompt.verbs import do
from benchrig.errors import BenchrigError, UsageError
from benchrig.plan.brought import bring
from benchrig.plan.filling import filled
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.scan import Selection, Sighting
from benchrig.source.nodes import plain
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.steps.payload import encode
from benchrig.values.format import build_format, spec_from
from tests.desk.kit import at_desk
from tests.desk.prompt.kit import LOGGER, OWN, Talked, box, talked
from tests.desk.prompt.test_session import LEAVES, PRESENTING, VOLTAGE
from tests.run.kit import PLANS, Ran, device_text, run

WHEN = datetime(2026, 5, 1, 14, 30, tzinfo=UTC)
UNIT = Sighting("C4:00:00:00:00:01", name="unit 1")


def saved(folder: Path, done: Talked, *, force: bool = False) -> Path:
    save(done.session, folder / "plan.yaml", WHEN, force=force)
    return folder / "plan.yaml"


def again(folder: Path, *lines: str, device: str | Path = LOGGER, seed: int = 7, **options: Any) -> Ran:
    """Do what the lines say, save it, and run that on the device with another seed."""
    return run(saved(folder, talked(*lines, devices=(device,), **options)), device, seed=seed)


def steps(text: str, folder: Path) -> list[dict[str, Any]]:
    """The steps behind scan and connect, as data."""
    return [plain(step.node) for step in loaded(text, folder).steps[2:]]


def loaded(text: str, folder: Path) -> Plan:
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    return load_plan(path)


def story(*deeds: Deed, **more: Any) -> Story:
    return Story([Connected(UNIT), *deeds], UNIT, WHEN, **more)


def subject(name: str = "own", *, settable: bool = False, **form: Any) -> Subject:
    return Subject(name, build_format(spec_from(form)), settable=settable)


def names(**form: Any) -> Names:
    spec = spec_from(form)
    kept = {field: getattr(spec, field) for field in spec.__struct_fields__}
    return Names({"own": AttributeSpec(uuid=Uuid(OWN.format(9)), **kept)})


def test_a_session_becomes_a_plan_that_passes_on_the_device(tmp_path: Path) -> None:
    ran = again(
        tmp_path,
        "table",
        "read serial number battery level temperature humidity",
        "read temperature",
        "watch log stream",
        "wait 2 s",
        "unwatch",
        "read alarm limit",
        "write alarm limit 8 °C --read-back",
        "read alarm limit",
        "wait 500 ms",
        "disconnect",
        "connect",
        "read note --as hex",
    )
    assert ran.ended.verdict == "pass"
    assert [step.planned.name for step in ran.record.steps] == [
        "scan", "connect", "read serial number", "read battery level", "read temperature", "read humidity",
        "read temperature (2)", "notify log stream", "read alarm limit", "write alarm limit", "read alarm limit (2)",
        "wait 0.5 s", "disconnect", "connect (2)", "read note",
    ]  # fmt: skip
    assert [ran.reading(step).judgement.limit for step in ("read alarm limit", "read alarm limit (2)")] == [  # type: ignore[union-attr]
        "equals 5 °C",
        "equals 8 °C",
    ]


def test_the_plan_fails_on_a_device_that_differs(tmp_path: Path) -> None:
    path = saved(tmp_path, talked("read model number humidity", "watch log stream", "wait 2 s"))
    logger = LOGGER.read_text(encoding="utf-8")
    for changed in (
        logger.replace("value: VFL3}", "value: VFL4}"),
        logger.replace("jitter: 2 ms}", "jitter: 2 ms, count: 20}"),
        logger.replace("43.5 %", "60 %"),
        logger.replace("period: 50 ms", "period: 100 ms"),
        logger.replace("supply: 2985 mV", "supply: 2000 mV"),
    ):
        assert changed != logger
        assert run(path, changed).ended.verdict == "fail"


def test_an_answer_to_a_write_becomes_an_exchange(tmp_path: Path) -> None:
    ran = again(tmp_path, "watch command", "write command --raw 01", "wait 1 s", "unwatch", acknowledged=True)
    assert ran.ended.verdict == "pass"
    assert [step.planned.name for step in ran.record.steps][2:] == ["exchange command"]
    assert ran.reading("exchange command").value == "8100"


BOX = box()
BOX_NAMES = bring(PLANS / "names" / "transport_box.yaml").names


def test_an_exchange_is_one(tmp_path: Path) -> None:
    lines = (
        "exchange control --raw 04 AA BB --reply answer --starts-with 84",
        "exchange control 05 --reply answer --last-starts-with FF --skip 1",
        "watch ride --counter number --mode notification",
        "wait 2 s",
    )
    ran = again(tmp_path, *lines, device=BOX, names=BOX_NAMES, acknowledged=True)
    assert ran.ended.verdict == "pass"
    echo, log, ride = steps((tmp_path / "plan.yaml").read_text(encoding="utf-8"), tmp_path)
    assert echo["starts_with"] == "84"
    assert log["answers"] == {"last": {"starts_with": "FF"}, "skip": 1}
    assert (ride["counter"], ride["mode"], ride["expect"]["lost"]) == ("number", "notification", {"equals": 0})
    faulty = BOX.replace("jitter: 2 ms", "jitter: 2 ms, drop_every: 5")
    assert run(tmp_path / "plan.yaml", faulty).ended.verdict == "fail"


LISTENING = (
    "watch ride --counter number", "watch battery level", "read settings", "wait 2 s",
    "write settings alarm=9 °C buzzer=quiet --read-back", "wait 1 s", "read settings", "unwatch",
)  # fmt: skip


def test_what_was_done_while_something_was_watched_is_done_so_again(tmp_path: Path) -> None:
    back = "write settings alarm=8 °C buzzer=loud"
    ran = again(tmp_path, *LISTENING, back, *LISTENING, device=BOX, names=BOX_NAMES, acknowledged=True)
    assert ran.ended.verdict == "pass"
    found = steps((tmp_path / "plan.yaml").read_text(encoding="utf-8"), tmp_path)
    listens = [each for each in found if "listen" in each]
    assert [each["listen"] for each in listens] == [{"ride": {"counter": "number"}, "battery level": {}}] * 2
    assert listens[0]["expect"]["ride.lost"] == {"equals": 0}
    assert not [each for each in found if "notify" in each]
    for old, new in (
        ("jitter: 2 ms", "jitter: 2 ms, drop_every: 5"),
        ("period: 2 s", "period: 1 h"),
        ("buzzer: loud", "buzzer: quiet"),
    ):
        assert BOX.count(old) == 1
        assert run(tmp_path / "plan.yaml", BOX.replace(old, new)).ended.verdict == "fail", new


RESTART = ("write control 06", "scan --for 4 s", "connect", "read starts")


@pytest.mark.parametrize(
    ("sound", "faulty"),
    [("reboot: 2 s", "set: {starts: 4}"), ("{delay: 300 ms, reboot: 2 s}", "{delay: 4 s, reboot: 2 s}")],
)
def test_a_write_that_ended_the_link_is_a_reboot(sound: str, faulty: str, tmp_path: Path) -> None:
    ran = again(tmp_path, *RESTART, device=BOX, names=BOX_NAMES, acknowledged=True)
    assert ran.ended.verdict == "pass"
    reboot, write, _ = steps((tmp_path / "plan.yaml").read_text(encoding="utf-8"), tmp_path)
    assert reboot == {"reboot": None, "steps": [], "expect": {"lost_after": {"max": "3 s"}}}
    assert write == {"write": "control", "value": "06"}
    assert BOX.count(sound) == 1
    failed = run(tmp_path / "plan.yaml", BOX.replace(sound, faulty))
    assert (failed.ended.verdict, failed.ended.exit_code) == ("fail", 1)
    assert failed.ended.root is not None
    assert failed.ended.root.node == "3"


def test_a_link_that_a_write_ended_for_good_is_a_limit(tmp_path: Path) -> None:
    done = talked(
        "read openings", "write control 07", "scan --for 2 s", devices=(BOX,), names=BOX_NAMES, acknowledged=True
    )
    path = saved(tmp_path, done)
    assert steps(path.read_text(encoding="utf-8"), tmp_path)[1]["expect"] == {"lost_after": {"max": "2 s"}}
    assert not save(done.session, path, WHEN, force=True).remarks
    assert run(path, BOX).ended.verdict == "pass"
    assert run(path, BOX.replace("sleep: for good, disconnect: true", "sleep: for good")).ended.verdict == "fail"


def test_a_loss_long_after_a_write_or_after_a_read_is_not_its_consequence(tmp_path: Path) -> None:
    losing = device_text(TAG.format(50), name="Tag", more="faults: {disconnect_after: 3 s}")
    for lines in ((f"write {KEEP} --raw 01", "read battery level"), ("read battery level",)):
        done = talked(*lines, "scan --for 4 s", "connect", devices=(losing,), acknowledged=True)
        verbs = [step.kind.verb for step in loaded(plan_text(_told(done)), tmp_path).steps]
        assert verbs[-2:] == ["disconnect", "connect"]
        assert "reboot" not in verbs


def _told(done: Talked) -> Story:
    return Story(done.session.deeds, UNIT, WHEN, done.session.desk.names)


def test_reads_until_a_state_are_one_step(tmp_path: Path) -> None:
    waiting = ("read state", "wait 1 s") * 3
    ran = again(tmp_path, "write control 03", *waiting, "wait 2 s", "read state", device=BOX, names=BOX_NAMES,
                acknowledged=True)  # fmt: skip
    assert ran.ended.verdict == "pass"
    [_, read] = steps((tmp_path / "plan.yaml").read_text(encoding="utf-8"), tmp_path)
    assert read["until"] == {"value.self_test": {"equals": "passed"}}
    assert "value.self_test" not in read["expect"]
    stuck = BOX.replace("{value: running, for: 4 s}, {value: passed}", "{value: running}")
    assert stuck != BOX
    assert run(tmp_path / "plan.yaml", stuck).ended.verdict == "fail"


@pytest.mark.parametrize(
    ("form", "values", "until"),
    [
        ({"as": "utf8"}, ["61", "61", "62"], {"value": {"equals": "b"}}),
        ({"as": "boolean"}, ["00", "00", "00", "01"], {"value": {"equals": True}}),
        ({"as": "uint8"}, ["00", "00", "01"], None),
        ({"as": "utf8"}, ["61", "62"], None),
        ({"as": "utf8"}, ["61", "63", "62"], None),
        ({"as": "utf8"}, ["61", "61", "61"], None),
    ],
)
def test_what_somebody_waited_for(form: dict[str, Any], values: list[str], until: Any, tmp_path: Path) -> None:
    own = subject(**form)
    deeds: list[Deed] = [ReadDone(own, bytes.fromhex(each), at=float(n)) for n, each in enumerate(values)]
    found = steps(plan_text(story(*deeds, names=names(**form))), tmp_path)
    assert [each["until"] for each in found if "until" in each] == ([until] if until else [])
    assert len(found) == (1 if until else len(values))


def test_an_exchange_that_is_not_answered_fails_again(tmp_path: Path) -> None:
    results: list[dict[str, Any]] = []
    silent = BOX.replace("notify: {answer: '84 {token}'}", "set: {starts: 4}")
    assert silent != BOX
    lines = ("exchange control --raw 04 AA --reply answer", f"save {tmp_path / 'plan.yaml'}")
    _goes_on(*lines, device=silent, into=results, names=BOX_NAMES)
    assert "no answer on answer within 5" in results[-1]["remarks"][0]
    assert run(tmp_path / "plan.yaml", silent).ended.verdict == "fail"


def test_a_format_that_the_device_says_itself_is_in_the_plan(tmp_path: Path) -> None:
    lines = (f"read {VOLTAGE}", f"write {VOLTAGE} 3.1 V --read-back", f"watch {VOLTAGE}", "wait 2 s", f"read {VOLTAGE}")
    ran = again(tmp_path, *lines, device=PRESENTING, acknowledged=True)
    assert ran.ended.verdict == "pass"
    assert [ran.reading(step).value for step in ("3", "6")] == [2.985, 3.1]


def test_refusals_are_expected_again(tmp_path: Path) -> None:
    done = talked("connect")
    done.session.deeds += [
        ReadDone(Subject("2A00"), None, "read not permitted"),
        WriteDone(Subject("2A00"), b"\1", 0.0, refused="out of range"),
    ]
    read, write = steps(saved(tmp_path, done).read_text(encoding="utf-8"), tmp_path)
    assert read == {"read": "2A00", "expect": {"att_error": {"equals": "read not permitted"}}}
    assert write == {"write": "2A00", "raw": "01", "expect": {"att_error": {"equals": "out of range"}}}


def test_a_write_brings_a_caution_and_own_names_their_formats(tmp_path: Path) -> None:
    done = talked("read alarm limit", "write alarm limit -12.34 °C", acknowledged=True, caution="Mind the relay.")
    plan = loaded(saved(tmp_path, done).read_text(encoding="utf-8"), tmp_path)
    assert plan.caution == "Mind the relay. This plan writes to the device: alarm limit."
    assert [*plan.names.aliases] == ["alarm limit"]
    assert plan.names.meaning("alarm limit").format.describe() == "sint16 × 0.01 °C"  # type: ignore[union-attr]
    assert "From a session with VFL-0042 on 2026-05-01 14:30" in (tmp_path / "plan.yaml").read_text(encoding="utf-8")


def test_without_a_write_there_is_no_caution(tmp_path: Path) -> None:
    assert loaded(saved(tmp_path, talked("read humidity")).read_text(encoding="utf-8"), tmp_path).caution == ""


def test_a_file_is_kept_unless_told_otherwise(tmp_path: Path) -> None:
    done = talked("connect")
    path = saved(tmp_path, done)
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="already exists") as caught:
        saved(tmp_path, done)
    assert "save! " in caught.value.advice
    assert path.read_text(encoding="utf-8") == "mine"
    assert "mine" not in saved(tmp_path, done, force=True).read_text(encoding="utf-8")


def test_there_must_be_something_to_save_and_somewhere(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nothing was done"):
        saved(tmp_path, talked("help"))
    with pytest.raises(UsageError, match="cannot be written"):
        saved(tmp_path / "nowhere", talked("connect"))


def test_a_request_that_is_lost_fails_no_unit(tmp_path: Path) -> None:
    sound = "services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 9 %}]}]"
    path = saved(tmp_path, talked("read battery level", devices=[device_text(sound)]))
    ran = run(path, device_text(sound, more="faults: {refuse_connections: 1}"))
    assert (ran.ended.exit_code, ran.step(2).ended.attempts) == (0, 2)


def test_only_what_was_done_with_the_last_device_is_saved(tmp_path: Path) -> None:
    other = device_text("services: []", name="unit 2", address="C4:00:00:00:00:02")
    done = talked("connect unit 2", "read device name", "disconnect", "connect VFL-0042", "read humidity",
                  devices=(LOGGER, other))  # fmt: skip
    text = saved(tmp_path, done).read_text(encoding="utf-8")
    assert [step["read"] for step in steps(text, tmp_path)] == ["humidity"]
    assert "VFL-0042" in text
    assert "unit 2" not in text


LOSING = ("watch temperature", "scan --for 3 s", "connect", "wait 1 s", "read temperature", "save {}")


@pytest.mark.parametrize("device", [LEAVES, LEAVES.replace("disconnect_after: 2 s", "disconnect_after: 1 h")])
def test_after_a_lost_link_the_plan_connects_as_it_was_done(device: str, tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    done = talked(*(line.format(path) for line in LOSING), devices=(LEAVES,))
    [said] = done.of("save")
    assert said["remarks"] == [
        "the link was lost once: the plan disconnects and connects there instead; "
        "if it must be lost, limit lost_after in the step before"
    ]
    assert "# The link was lost here" in path.read_text(encoding="utf-8")
    ran = run(path, device)
    assert [step.planned.name for step in ran.record.steps] == [
        "scan", "connect", "notify temperature", "disconnect", "connect (2)", "notify temperature (2)", "read temperature",
    ]  # fmt: skip
    assert ran.ended.verdict == "pass"


def test_a_link_that_was_lost_at_last_is_a_comment(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    done = talked("read temperature", "scan --for 3 s", f"save {path}", devices=(LEAVES,))
    assert done.of("save")[0]["remarks"][0].endswith(
        "the plan has only a comment there; if it must be lost, limit lost_after in the step before"
    )
    assert [*steps(path.read_text(encoding="utf-8"), tmp_path)[0]] == ["read", "expect"]


def test_what_is_kept_whole_is_saved_without_a_remark(tmp_path: Path) -> None:
    assert "remarks" not in talked("read humidity", f"save {tmp_path}/plan.yaml").of("save")[0]


@pytest.mark.parametrize(
    ("selection", "select"),
    [
        (None, {"name": "unit 1"}),
        (Selection(), {"name": "unit 1"}),
        (Selection(rssi_min=-60), {"name": "unit 1", "rssi_min": "-60 dBm"}),
        (
            Selection(services=("0000180f-0000-1000-8000-00805f9b34fb",), nearest=6),
            {"services": ["battery"], "nearest": "6 dB"},
        ),
        (Selection(key=bytes(range(16))), {"identity_key": "000102030405060708090A0B0C0D0E0F"}),
        (Selection(name="unit*"), {"name": "unit*"}),
        (Selection(address="C4:00:00:00:00:01"), {"address": "C4:00:00:00:00:01"}),
        (
            Selection(services=("0000181a-0000-1000-8000-00805f9b34fb",)),
            {"services": ["environmental sensing"]},
        ),
        (
            Selection(manufacturer=0xFFFF, manufacturer_data=b"\3"),
            {"manufacturer": {"company": 0xFFFF, "data": "03"}},
        ),
    ],
)
def test_the_device_is_selected_as_it_was(selection: Selection | None, select: Any, tmp_path: Path) -> None:
    assert plain(loaded(plan_text(story(selection=selection)), tmp_path).only.node)["select"] == select


def test_a_device_without_a_name_is_selected_by_its_address(tmp_path: Path) -> None:
    nameless = Sighting("C4:00:00:00:00:01")
    plan = loaded(plan_text(Story([Connected(nameless)], nameless, WHEN)), tmp_path)
    assert plan.selection().address == "C4:00:00:00:00:01"


# --- limits


def expected(tmp_path: Path, deeds: list[Deed], names: Names) -> tuple[list[dict[str, Any]], str]:
    text = plan_text(story(*deeds, names=names))
    return [step.get("expect", {}) for step in steps(text, tmp_path)], text


@pytest.mark.parametrize(
    ("form", "settable", "data", "limit"),
    [
        ({"as": "uint8", "unit": "%"}, False, ["61"], {"min": "86 %", "max": "108 %"}),
        ({"as": "uint8"}, False, ["61"], {"equals": 97}),
        ({"as": "uint8", "words": {"97": "ready"}}, False, ["61"], {"equals": "ready"}),
        ({"as": "boolean"}, False, ["01"], {"equals": True}),
        ({"as": "utf8"}, False, ["31 32"], {"equals": "12"}),
        ({"as": "hex"}, False, ["12"], {"equals": "12"}),
        ({"as": "hex"}, False, [""], None),
        ({"as": "sint16", "scale": "0.01", "unit": "°C"}, True, ["F4 01"], {"equals": "5 °C"}),
        # as a draft has it: 10 %, 5 steps, or twice what the values are apart, and a step more
        ({"as": "sint16", "scale": "0.01", "unit": "°C"}, False, ["66 08"], {"min": "19.34 °C", "max": "23.66 °C"}),
        ({"as": "sint16", "scale": "0.01", "unit": "°C"}, False, ["00 00"], {"min": "-0.06 °C", "max": "0.06 °C"}),
        ({"as": "sint16", "scale": "0.01", "unit": "°C"}, False, ["66 08", "9E 07"], {"min": "15.49 °C", "max": "25.51 °C"}),
        ({"as": "sint8", "scale": "0.5", "unit": "dBm"}, False, ["88"], {"min": "-64 dBm", "max": "-53.5 dBm"}),
        ({"as": "float32"}, False, ["00 00 00 00"], {"min": -6, "max": 6}),
        ({"as": "float32"}, False, ["00 00 C0 7F"], {"equals": "NaN"}),
        ({"as": "uint8"}, False, ["01", "02"], {"min": 0, "max": 255}),
        ({"as": "utf8"}, False, ["31", "32"], {"matches": r"\d"}),
        ({"as": "date_time"}, False, ["EA 07 05 01 0E 1E 00"], {"matches": r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}"}),
    ],
)  # fmt: skip
def test_limits_on_what_was_read(
    form: dict[str, Any], settable: bool, data: list[str], limit: Any, tmp_path: Path
) -> None:
    own = subject(settable=settable, **form)
    found, text = expected(tmp_path, [ReadDone(own, bytes.fromhex(each)) for each in data], names(**form))
    if limit is None:
        assert all(not each for each in found)
        assert "no limit" in text
    else:
        assert [each["value"] for each in found] == [limit] * len(data)


def test_what_changed_after_a_write_is_no_noise(tmp_path: Path) -> None:
    own = subject(**{"as": "uint8"}, settable=True)
    deeds: list[Deed] = [ReadDone(own, b"\1"), WriteDone(own, b"\2", 0.0), ReadDone(own, b"\2"), ReadDone(own, b"\2")]
    found, _ = expected(tmp_path, deeds, names(**{"as": "uint8"}))
    assert [each.get("value") for each in found] == [{"equals": 1}, None, {"equals": 2}, {"equals": 2}]


def test_what_a_write_to_something_else_changes_is_expected_again(tmp_path: Path) -> None:
    own, other = subject(**{"as": "uint8"}), subject("2A00", **{"as": "hex"})
    deeds: list[Deed] = [ReadDone(own, b"\1"), WriteDone(other, b"\2", 0.0), ReadDone(own, b"\2")]
    found, _ = expected(tmp_path, deeds, names(**{"as": "uint8"}))
    assert [each.get("value") for each in found] == [{"equals": 1}, None, {"equals": 2}]
    # here it changes without a write as well
    found, text = expected(tmp_path, [*deeds, ReadDone(own, b"\3")], names(**{"as": "uint8"}))
    assert [each.get("value") for each in found] == [{"min": 0, "max": 255}, None, *[{"min": 0, "max": 255}] * 2]
    assert "may be a counter" in text


def test_the_fields_of_a_structure_are_held_one_by_one(tmp_path: Path) -> None:
    form = {"fields": [{"name": "count", "as": "uint8"}, {"name": "level", "as": "uint8", "scale": "0.5", "unit": "V"}]}
    deeds: list[Deed] = [ReadDone(subject(**form), b"\1\4"), ReadDone(subject(**form), b"\1\4")]
    found, _ = expected(tmp_path, deeds[:1], names(**form))
    assert found == [{"value.count": {"equals": 1}, "value.level": {"min": "0 V", "max": "5 V"}}]


def test_a_value_that_does_not_fit_its_format_is_held_as_bytes(tmp_path: Path) -> None:
    text = plan_text(story(ReadDone(subject(**{"as": "uint16"}), b"\1"), names=names(**{"as": "uint16"})))
    assert steps(text, tmp_path) == [{"read": "own", "format": {"as": "hex"}, "expect": {"value": {"equals": "01"}}}]
    assert "did not fit its format" in text


def test_what_never_came_is_no_step(tmp_path: Path) -> None:
    text = plan_text(story(WatchDone(subject(**{"as": "uint8"}), 0.0, 3.0), names=names(**{"as": "uint8"})))
    assert steps(text, tmp_path) == []
    assert "# notify own: left out: nothing arrived in 3 s" in text


def test_what_was_heard_to_change_is_not_held_to_one_value(tmp_path: Path) -> None:
    own, watched = subject(**{"as": "uint8", "unit": "%"}), WatchDone(subject(**{"as": "uint8", "unit": "%"}), 1.0, 5.0)
    for at, data in enumerate((b"\x32", b"\x3c"), 2):
        watched.add(at, data)
    found, _ = expected(tmp_path, [ReadDone(own, b"\x32"), watched], names(**{"as": "uint8", "unit": "%"}))
    assert found[0]["value"] == {"min": "29 %", "max": "81 %"}


TAG = """services:
  - service: battery
    characteristics:
      - {{characteristic: battery level, properties: [read], value: {0} %}}
  - service: 6b1d0101-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: 6b1d0102-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read, write], value: 1}}
"""


def tag(number: int, level: int) -> str:
    """All of them advertise one name."""
    text = device_text(TAG.format(level), name="Tag", address=f"C0:11:22:33:44:0{number}")
    return text.replace("device: Tag", f"device: Tag {number}")


TWINS = (tag(1, 11), tag(2, 99))
KEEP = "6b1d0102-9a53-4c86-8a3e-2f0f6c1d7e40"


def test_devices_of_one_name_are_not_mixed(tmp_path: Path) -> None:
    done = talked("connect C0:11:22:33:44:01", f"write {KEEP} --raw 07", "read battery level", "disconnect",
                  "connect C0:11:22:33:44:02", "read battery level", devices=TWINS, acknowledged=True)  # fmt: skip
    plan = loaded(saved(tmp_path, done).read_text(encoding="utf-8"), tmp_path)
    assert plan.selection().address == "C0:11:22:33:44:02"
    assert [step.name for step in plan.steps] == ["scan", "connect", "read battery level"]
    remarks = save(done.session, tmp_path / "other.yaml", WHEN).remarks
    assert remarks == ["2 verbs with other devices left out: a plan has one"]


def test_a_connection_that_failed_does_not_change_what_is_selected(tmp_path: Path) -> None:
    done = talked("connect C0:11:22:33:44:01", "read battery level", "disconnect", devices=TWINS)
    done.session.desk.means(Selection(name="nobody"))
    assert loaded(saved(tmp_path, done).read_text(encoding="utf-8"), tmp_path).selection().name is None


BOOT = tag(1, 50).replace("value: 1}", "value: 1, on_write: {REACTION}}")


@pytest.mark.parametrize(
    ("reaction", "words", "remark"),
    [
        ("silent: true", "--raw 01", "the device did not answer within 5 s"),
        ("store: false", "--raw 07 --read-back", "read back 01 after writing 07"),
    ],
)
def test_a_write_that_went_wrong_is_kept_with_a_remark(reaction: str, words: str, remark: str, tmp_path: Path) -> None:
    results: list[dict[str, Any]] = []
    lines = (f"write {KEEP} {words}", f"save {tmp_path / 'plan.yaml'}")
    done = _goes_on(*lines, device=BOOT.replace("REACTION", reaction), into=results)
    plan = loaded((tmp_path / "plan.yaml").read_text(encoding="utf-8"), tmp_path)
    [write] = [filled(step, {}) for step in plan.steps if step.kind.verb == "write"]
    assert (write.raw is not None, write.read_back) == (True, "--read-back" in words)  # type: ignore[attr-defined]
    assert remark in (tmp_path / "plan.yaml").read_text(encoding="utf-8")
    assert any(remark in each for each in results[-1]["remarks"]), done


def _goes_on(*lines: str, device: str, into: list[dict[str, Any]], names: Names | None = None) -> list[str]:
    """As at a prompt: a verb that fails does not end the session."""
    failed: list[str] = []

    async def work(desk: Desk) -> None:
        async def yes(_: str) -> None: ...

        session = Session(desk, into.append, yes)
        for line in lines:
            try:
                await do(session, line)
            except BenchrigError as error:
                failed.append(error.message)
        await session.close()

    at_desk(work, device, names=names or Names())
    return failed


def test_a_read_that_gets_no_answer_is_said_to_be_left_out(tmp_path: Path) -> None:
    results: list[dict[str, Any]] = []
    silent = device_text(TAG.format(50).replace("value: 1}", "value: 1, on_read: {silent: true}}"), name="Tag")
    _goes_on("read battery level", f"read {KEEP}", f"save {tmp_path / 'plan.yaml'}", device=silent, into=results)
    assert f"read {KEEP} is left out: read {KEEP}: the device did not answer within 5 s" in results[-1]["remarks"]


def test_an_all_day_session_keeps_what_it_can(tmp_path: Path) -> None:
    done = talked("read humidity")
    for _ in range(MOST_DEEDS):
        done.session.deeds.append(ReadDone(Subject("2A00"), b"\1"))
    assert (len(done.session.deeds), done.session.deeds.dropped) == (MOST_DEEDS, 2)


FORMS: list[dict[str, Any]] = [
    {"as": "uint8"}, {"as": "sint64", "scale": "1/3", "offset": "-0.1", "unit": "°C"}, {"as": "float32", "unit": "V"},
    {"as": "float64"}, {"as": "medfloat32"}, {"as": "utf8"}, {"as": "utf16"}, {"as": "hex"}, {"as": "boolean"},
    {"as": "date_time"}, {"as": "uint8", "words": {"0": "no", "1": "# 1"}}, {"as": "heart rate measurement"},
    {"as": "uint8", "bits": {"open": 1, "state": {"mask": 6, "words": {"0": "a: b", "1": "$b"}}}},
    {"fields": [{"name": "a", "as": "utf8", "length": 3}, {"name": "b", "as": "uint16", "unit": "ms", "list": True}]},
]  # fmt: skip


@settings(max_examples=60)
@given(
    form=st.sampled_from(FORMS),
    samples=st.lists(st.binary(max_size=14) | st.text(max_size=6).map(str.encode), min_size=1, max_size=3),
    name=st.text(min_size=1, max_size=12),
    settable=st.booleans(),
    caution=st.text(max_size=20),
)
def test_whatever_a_device_says_the_plan_loads(
    form: dict[str, Any],
    samples: list[bytes],
    name: str,
    settable: bool,
    caution: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    own = subject(settable=settable, **form)
    watched = WatchDone(own, 0.0, 5.0)
    for number, data in enumerate(samples):
        watched.add(float(number), data)
    deeds: list[Deed] = [ReadDone(own, data) for data in samples]
    deeds += [watched, *(WriteDone(own, data, 100.0 + number) for number, data in enumerate(samples))]
    unit = Sighting("C4:00:00:00:00:01", name=name)
    told = Story([Connected(unit), *deeds], unit, WHEN, names(**form), caution=caution)
    plan = loaded(plan_text(told), tmp_path_factory.getbasetemp())
    assert plan.selection().accepts(_heard(name))
    reads, writes = plan.steps[2 : 2 + len(samples)], plan.steps[3 + len(samples) :]
    for planned, data in zip(reads, samples, strict=True):
        _holds(filled(planned, {}), data, own, plan.names)
    for planned, data in zip(writes, samples, strict=True):
        step: Any = filled(planned, {})
        assert encode(own.form, step.value, step.raw) == data


def _holds(step: Any, data: bytes, own: Subject, names: Names) -> None:
    """Every limit of a read step is satisfied by what was read."""
    form = build_format(step.format) if step.format else own.form
    assert form is not None
    value = form.decode(data)
    types = step.readings(names)
    for name, limit in step.limits.items():
        item: Any = value
        for part in name.split(".")[1:]:
            item = item[part]
        assert limit.bind(types[name].kind, types[name].unit).passes(item), (name, item, limit)


def _heard(name: str) -> Sighting:
    sighting = Sighting("C4:00:00:00:00:01", name=name)
    sighting.rssi.append(-50)
    return sighting
