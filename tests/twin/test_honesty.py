"""A twin says no more than was seen: what was not, differed or was lost stands in its file, or at its head."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchrig.desk.inspection_file import Document, save_document
from benchrig.plan.brought import bring
from benchrig.plan.loader import load_plan
from benchrig.steps.attribute import Names
from benchrig.twin.from_files import seen_in
from benchrig.twin.seen import Seen
from benchrig.twin.writing import Twin, twin_of
from tests.cli.calling import call
from tests.desk.kit import inspected
from tests.replay.kit import failed
from tests.run.kit import DEVICES, device_text, plan_text, run
from tests.twin.kit import ANY, bad_steps, look_at, seen_of, twin

OWN = "5f2d000{}-3b7d-4a55-9c0e-7d1f5a2b8e10".format
SERVICE = f"services:\n  - service: {OWN(0)}\n    characteristics:\n"


def device(*characteristics: str, more: str = "") -> str:
    return device_text(
        SERVICE
        + "".join(f"      - {{characteristic: {OWN(n)}, {keys}}}\n" for n, keys in enumerate(characteristics, 1)),
        more=more,
    )


def plan(*steps: str, names: int = 3) -> str:
    attributes = "".join(f"    a{n}: {{uuid: {OWN(n)}, as: uint16}}\n" for n in range(1, names + 1))
    return plan_text("".join(f"  - {step}\n" for step in steps), attributes=attributes)


def made(text: str, tmp_path: Path, *steps: str) -> Twin:
    file = tmp_path / "unit.yaml"
    file.write_text(text, encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text(plan(*steps or ("wait: 1 s",)), encoding="utf-8")
    return twin(file, [path])


def line_of(made: Twin, key: str) -> str:
    return next(line.strip() for line in made.text.splitlines() if line.strip().startswith(key))


def test_a_value_that_differed_is_not_taken_for_one_that_stays(tmp_path: Path) -> None:
    found = made(
        device(
            "as: uint16, properties: [read], value: {sequence: [1, 2, 3000]}",
            "as: hex, properties: [read], value: {sequence: ['01', '02 03']}",
        ),
        tmp_path,
    )
    assert (
        "value: {sequence: [1, 2, 3000, 1]} # 4 values in the order of arrival, then from the first again (guess)"
        in found.text
    )
    assert "raw: '01' # the first of 4 values; others differ" in found.text
    assert "a2: how its value moves (not all values fit one format)" in found.unseen


def test_what_was_never_read_has_no_value(tmp_path: Path) -> None:
    found = made(
        device(
            "as: uint16, properties: [read], value: 7, on_read: {att_error: 0x85}",
            "as: uint16, properties: [write], value: 3",
        ),
        tmp_path,
    )
    assert "raw: '00 00' # no value was seen" in found.text
    assert "on_read: {att_error: 0x85}" in found.text
    assert "a1: no value (ATT error 0x85 (application error 0x85))" in found.unseen
    assert "a2: what a write does (nothing was written)" in found.unseen


@pytest.mark.parametrize(
    ("notify", "said"),
    [
        ("notify: {period: 50 ms, drop_every: 20}", "drop_every: 20"),
        ("notify: {period: 50 ms}, on_notify: {sometimes: [{from: 31, times: 1, silent: true}]}", "silent: true"),
        ("notify: {period: 50 ms}", ""),
    ],
)
def test_a_loss_that_a_counter_shows_is_not_mended(notify: str, said: str, tmp_path: Path) -> None:
    text = device(f"as: uint16, properties: [notify], value: {{counter: {{}}}}, {notify}")
    found = made(text, tmp_path)
    assert ("missing by the counter" in found.text) == bool(said)
    assert said in found.text
    assert "period: 50 ms" in found.text
    lossless = plan("notify: a1\n    for: 10 s\n    counter: value\n    expect: {lost: {equals: 0}}", names=1)
    assert bool(bad_steps(run(lossless, text))) == bool(bad_steps(run(lossless, found.device))) == bool(said)


def test_other_bytes_than_those_that_were_written_have_no_answer(tmp_path: Path) -> None:
    """A prefix was not seen to decide: the case is for all bytes of the write."""
    text = device("as: uint16, properties: [write, notify], value: 0, on_write: {notify: {" + OWN(1) + ": 7}}")
    found = made(text, tmp_path, "exchange: a1\n    value: 5\n    expect: {value: {equals: 7}}")
    assert "{matches: '0500', notify: {a1: 7}}" in found.text
    assert bad_steps(run(plan("exchange: a1\n    value: 5", names=1), found.device)) == {}
    assert bad_steps(run(plan("exchange: a1\n    value: 6\n    within: 1 s", names=1), found.device)) == {
        "exchange a1": "device"
    }


def test_a_refusal_of_one_value_is_no_refusal_of_all(tmp_path: Path) -> None:
    text = device(
        "as: uint16, properties: [read, write], value: 1, on_write: {cases: [{starts_with: '09', att_error: out of range}]}"
    )
    found = made(
        text,
        tmp_path,
        "write: a1\n    value: 9\n    expect: {att_error: {equals: out of range}}",
        "write: a1\n    value: 8\n    read_back: true",
    )
    assert "{matches: '0900', att_error: out of range}" in found.text
    steps = (
        "write: a1\n    value: 10\n    read_back: true",
        "write: a1\n    name: refused\n    value: 9\n    expect: {att_error: {equals: out of range}}",
    )
    assert bad_steps(run(plan(*steps, names=1), found.device)) == {}


def test_a_value_that_is_back_after_a_restart_is_told(tmp_path: Path) -> None:
    text = device(
        "as: uint16, properties: [read, write], value: 1, volatile: true",
        "as: uint16, properties: [read, write], value: 1",
    )
    steps = (
        [f"write: a{n}\n    value: 4" for n in (1, 2)]
        + ["power: cycle", "connect:\n    name: again"]
        + [f"read: a{n}\n    name: after {n}" for n in (1, 2)]
    )
    found = made(text, tmp_path, *steps)
    assert [one.volatile for one in found.device.services[0].characteristics] == [True, False]
    assert "step 7" in line_of(found, "volatile")


def test_the_answer_that_depends_on_a_state(tmp_path: Path) -> None:
    """The same bytes are answered by what another attribute holds; nothing is said of a third state."""
    cases = "[{only_if: {state: 1}, notify: {a: 1}}, {notify: {a: 0}}]"
    text = device(
        f"name: a, as: uint16, properties: [write, notify], value: 9, on_write: {{store: false, cases: {cases}}}",
        "name: state, as: uint16, properties: [read, write], value: 0",
    )
    steps = []
    for number, state in enumerate((0, 1, 0)):
        steps += [
            f"write: a2\n    name: state {number}\n    value: {state}\n    read_back: true",
            f"exchange: a1\n    name: ask {number}\n    value: 5\n    expect: {{value: {{equals: {state}}}}}",
        ]
    found = made(text, tmp_path, *steps)
    assert "only_if: {a2: 1}" in found.text
    assert bad_steps(run(plan(*steps, names=2), found.device)) == {}


def test_files_alone_tell_the_same(tmp_path: Path) -> None:
    """An inspection, a record and what was watched, without the device."""
    logger = ["--radio", f"virtual:{DEVICES / 'logger.yaml'}"]
    saved, watched = tmp_path / "golden.json", tmp_path / "watched.jsonl"
    save_document(Document(inspected(DEVICES / "logger.yaml", selection=ANY), []), saved)
    assert call("watch", "temperature", "--for", "30 s", *logger, "--save", watched).exit_code == 0
    found = twin_of(seen_in([saved, watched], Names(), None))
    assert "period: 1 s" in line_of(found, "notify") or "period: 1 s" in found.text
    assert re.search(r"noise: \{mean: 21\.\d+ °C", found.text)
    assert "watch watched.jsonl" in found.text
    assert look_at(found.device) == look_at(DEVICES / "logger.yaml")
    refused = call("twin", "-o", tmp_path / "x.yaml", "--from", watched)
    assert refused.exit_code == 4
    assert "no attribute table was seen" in refused.stderr


def test_a_capture_alone_tells_reads_writes_answers_and_streams(tmp_path: Path) -> None:
    text = device(
        "name: a, as: uint16, properties: [read, write, notify], value: 3, on_write: {notify: {a: {several: [7, 8], every: 100 ms}}}",
        "as: uint16, properties: [notify], value: {counter: {}}, notify: {period: 100 ms}",
    )
    steps = (
        "exchange: a1\n    value: 5\n    answers: {last: {count: 2}}\n    format: {as: hex}",
        "notify: a2\n    for: 3 s\n    counter: value\n    expect: {lost: {equals: 0}}",
    )
    assert run(plan(*steps), text, capture=tmp_path / "a.btsnoop").ended.verdict == "pass"
    save_document(Document(inspected(text, selection=ANY), []), tmp_path / "a.json")
    (tmp_path / "plan.yaml").write_text(plan(*steps), encoding="utf-8")
    found = twin_of(seen_in([tmp_path / "a.json", tmp_path / "a.btsnoop"], bring(tmp_path / "plan.yaml").names, None))
    assert "notify: {a1: {several: [7, 8], every: 90 ms}}" in found.text
    assert "notify: {period: 100 ms" in found.text
    assert "counter: {start: 0, step: 1}" in found.text
    assert bad_steps(run(plan(*steps), found.device)) == {}
    whole = (tmp_path / "a.btsnoop").read_bytes()
    (tmp_path / "cut.btsnoop").write_bytes(whole[:-7])
    cut = twin_of(seen_in([tmp_path / "a.json", tmp_path / "cut.btsnoop"], Names(), None))
    assert re.search(r"capture cut.btsnoop: all after offset \d+, where it is cut off", cut.text)
    assert "It holds what went over the radio: treat it as secret where that is." in cut.text


@pytest.mark.slow
def test_a_capture_tells_what_a_record_does(tmp_path: Path) -> None:
    """The packets of a run, without its record and its plan's names for what answers."""
    line = Path(__file__).with_name("plans") / "box_line.yaml"
    box, capture, saved = DEVICES / "transport_box.yaml", tmp_path / "run.btsnoop", tmp_path / "golden.json"
    assert run(line, box, capture=capture).ended.verdict == "pass"
    names = bring(line).names
    save_document(Document(inspected(box, selection=ANY, names=names), []), saved)
    found = twin_of(seen_in([saved, capture], names, None))
    assert "# capture run.btsnoop" in found.text
    for air, seed in (("kind", 1), ("rough", 2)):
        assert bad_steps(run(line, found.device, air=air, seed=seed)) == {}


def test_of_several_devices_only_the_one_that_was_inspected_counts(tmp_path: Path) -> None:
    units = [device(f"as: uint16, properties: [read, write], value: {value}") for value in (3, 9)]
    units[1] = units[1].replace("unit 1", "unit 2").replace("C4:00:00:00:00:01", "C4:00:00:00:00:02")
    named = f"attributes: {{a1: {{uuid: {OWN(1)}, as: uint16}}}}"
    text = (
        f"plan: two\ndevices:\n  one: {{select: {{name: unit 1}}, {named}}}\n  other: {{select: {{name: unit 2}}, {named}}}\nsteps:\n"
        + "".join(f"  - connect:\n    device: {key}\n    name: link {key}\n" for key in ("one", "other"))
        + "".join(
            f"  - write: a1\n    device: {key}\n    name: write {key}\n    value: {value}\n    read_back: true\n"
            for key, value in (("one", 5), ("other", 6))
        )
    )
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    ran = run(tmp_path / "plan.yaml", *units)
    assert bad_steps(ran) == {}, ran.ended.message
    seen = seen_of(units[1])
    story = Seen(seen.evidence, seen.names, [("two", ran.record, load_plan(tmp_path / "plan.yaml"))]).stories[0]
    assert [act.data for act in story.acts if act.what == "write"] == [b"\x06\x00"]


def test_what_a_record_hides_is_in_no_twin(tmp_path: Path) -> None:
    text = device("as: utf8, properties: [read, write], value: none", "as: uint16, properties: [read], value: 7")
    keys = "given: {code: {secret: true}}\n"
    attributes = f"    a1: {{uuid: {OWN(1)}, as: utf8}}\n    a2: {{uuid: {OWN(2)}, as: uint16}}\n"
    steps = "  - write: a1\n    value: '${code}'\n    read_back: true\n  - read: a2\n    expect: {value: {max: 5}}\n"
    (tmp_path / "plan.yaml").write_text(plan_text(steps, attributes=attributes, head=keys), encoding="utf-8")
    (tmp_path / "unit.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "code").write_text("open-sesame", encoding="utf-8")
    save_document(Document(inspected(text, selection=ANY), []), tmp_path / "golden.json")
    given = ["--set", f"code=@{tmp_path / 'code'}"]
    radio = ["--radio", f"virtual:{tmp_path / 'unit.yaml'}"]
    assert call("run", tmp_path / "plan.yaml", *radio, *given, "--results", tmp_path / "results").exit_code == 1
    (folder,) = (tmp_path / "results").glob("2*")
    seen, replayed = tmp_path / "seen.yaml", tmp_path / "replayed.yaml"
    files = ["--from", tmp_path / "golden.json", "--from", folder / "record.jsonl"]
    assert call("twin", "-o", seen, *files).exit_code == 0
    assert call("twin", "-o", replayed, "--of", folder, "--check", *given).exit_code == 0
    assert (
        call("twin", "-o", "-", "--of", folder, "--check", "--set", "code=open-sesame").exit_code == 4
    )  # in sight of all
    for file, said in (
        (seen, "values that are secret, and what writing them does"),
        (replayed, "values that are secret"),
    ):
        assert said in file.read_text(encoding="utf-8")
        assert "sesame" not in file.read_text(encoding="utf-8")
        assert "6F 70 65 6E" not in file.read_text(encoding="utf-8")


def test_braces_that_a_device_says_are_no_places_to_fill(tmp_path: Path) -> None:
    text = device(
        "as: utf8, properties: [write, notify], value: x, on_write: {store: false, notify: {ANSWER: '{{}\"ok\": [{written}]}'}}",
        "as: uint16, properties: [read], value: 7",
        more='console: [{matches: status, print: \'{{}"mv": 3012, "at": "${{}x}"}\'}]',
    ).replace("ANSWER", OWN(1))
    attributes = f"    a1: {{uuid: {OWN(1)}, as: utf8}}\n    a2: {{uuid: {OWN(2)}, as: uint16}}\n"
    steps = (
        "  - exchange: a1\n    value: go\n    expect: {value: {equals: '{\"ok\": [go]}'}}\n"
        '  - console:\n    send: status\n    until: {line: {equals: \'{"mv": 3012, "at": "$${x}"}\'}}\n    within: 2 s\n'
    )
    limit = "  - read: a2\n    expect: {value: {max: 5}}\n"
    (tmp_path / "plan.yaml").write_text(plan_text(steps, attributes=attributes), encoding="utf-8")
    (tmp_path / "unit.yaml").write_text(text, encoding="utf-8")
    found = twin(tmp_path / "unit.yaml", [tmp_path / "plan.yaml"])
    assert "'{{}\"ok\": [go]}'" in found.text
    assert bad_steps(run(tmp_path / "plan.yaml", found.device)) == {}
    broken = failed(tmp_path, plan_text(steps + limit, attributes=attributes), text)
    assert broken.record.ended is not None
    assert broken.record.ended.verdict == "fail"
    assert [broken.again(broken.twin(capture=capture)).differences for capture in (True, False)] == [(), ()]


@pytest.mark.parametrize(
    ("unit", "step", "cause"),
    [
        ("properties: [read, write], value: 3, distorted: {how: a byte long}", "write: a1\n    value: 8\n    read_back: true", "device"),
        ("properties: [write, notify], value: 3, on_write: {store: false, notify: {a: written}}, distorted: {how: a byte long}",
         "exchange: a1\n    value: 8", "device"),
    ],
)  # fmt: skip
def test_what_has_another_format_after_a_write(unit: str, step: str, cause: str, tmp_path: Path) -> None:
    text = device(f"name: a, as: uint16, {unit}")
    assert set(bad_steps(run(plan(step, names=1), text)).values()) == {cause}
    assert set(bad_steps(run(plan(step, names=1), made(text, tmp_path, step).device)).values()) == {cause}


@pytest.mark.parametrize(
    ("unit", "step"),
    [
        ("as: uint16, properties: [write], value: 3, on_write: {disconnect: true}", "write: a1\n    value: 8"),
        ("as: uint16, properties: [write], value: 3, on_write: {then: [{delay: 5 ms, reboot: 1 s}], silent: true}", "write: a1\n    value: 8"),
        ("as: uint16, properties: [read], value: 3, on_read: {silent: true}", "read: a1"),
        ("as: utf8, properties: [write], value: a, on_write: {att_error: out of range}", "write: a1\n    raw: '41'"),
    ],
)  # fmt: skip
def test_a_request_that_has_no_answer_has_none_from_the_twin(unit: str, step: str, tmp_path: Path) -> None:
    text, form = device(unit), unit[4 : unit.index(",")]
    (tmp_path / "plan.yaml").write_text(plan(step, names=1).replace("as: uint16", f"as: {form}"), encoding="utf-8")
    (tmp_path / "unit.yaml").write_text(text, encoding="utf-8")
    found = twin(tmp_path / "unit.yaml", [tmp_path / "plan.yaml"])
    on_unit = bad_steps(run(tmp_path / "plan.yaml", text))
    assert on_unit
    assert bad_steps(run(tmp_path / "plan.yaml", found.device)) == on_unit
