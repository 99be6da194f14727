"""A file written in pieces through whole runs: how fast, how far it came, and what of it is told before the run."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from tests.run.kit import Ran, device_text, plan_text, run

IMAGE, RECEIVED = (f"7b1f000{n}-4d1e-4b6f-9a57-2f3c1de0a001" for n in (2, 3))
NAMES = f"""
    image: {{uuid: {IMAGE}, as: hex}}
    received: {{uuid: {RECEIVED}, as: uint16}}
"""
DATA = bytes(range(250)) * 20
PACED = "    pieces: payload\n    response: false\n"
PROVEN = "    pieces: 100\n"
RECEIVE = "  - read: received\n"


def device(on_write: str = "{check: false, set: {received: {add: 1}}}", *, more: str = "") -> str:
    return device_text(
        f"""services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {IMAGE}, name: image, as: hex, properties: [write, write without response], value: '00',
          on_write: {on_write}}}
      - {{characteristic: {RECEIVED}, name: received, as: uint16, properties: [read], value: 0}}
""",
        more=more,
    )


SOUND = device()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "image.bin").write_bytes(DATA)
    (tmp_path / "empty.bin").write_bytes(b"")
    (tmp_path / "small.bin").write_bytes(DATA[:40])
    return tmp_path


def written(folder: Path, keys: str, unit: str = SOUND, after: str = "", *, air: str = "kind") -> Ran:
    plan = folder / "plan.yaml"
    plan.write_text(plan_text(f"  - write: image\n    file: image.bin\n{keys}{after}", attributes=NAMES), "utf-8")
    return run(plan, unit, air=air)


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(("keys", "pieces"), [(PACED, 21), (PROVEN, 50)])
def test_all_pieces_arrive_at_the_pace_of_the_link(folder: Path, keys: str, pieces: int, air: str) -> None:
    limits = f"    expect: {{count: {{equals: {pieces}}}, throughput: {{min: 2 kbit/s, max: 1.4 Mbit/s}}}}\n"
    received = f"{RECEIVE}    expect: {{value: {{equals: {pieces}}}}}\n"
    ran = written(folder, keys + limits, SOUND, received, air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert ran.reading(3, "elapsed").value > 0.01, "as long as the air takes"
    [note] = ran.step(3).notes
    assert note.text == (
        f"sends image.bin: 5000 bytes in {pieces} pieces of up to {244 if keys == PACED else 100} bytes, "
        f"SHA-256 {hashlib.sha256(DATA).hexdigest()}"
    )


def test_a_small_file_goes_in_one_write_and_can_be_read_back(folder: Path) -> None:
    unit = SOUND.replace("[write, write without response]", "[read, write]")
    keys = "    read_back: true\n    expect: {elapsed: {max: 1 s}}\n"
    plan = folder / "plan.yaml"
    plan.write_text(plan_text(f"  - write: image\n    file: small.bin\n{keys}", attributes=NAMES), "utf-8")
    ran = run(plan, unit)
    assert (ran.ended.exit_code, ran.reading(3).value) == (0, DATA[:40].hex().upper())


@pytest.mark.parametrize("keys", [PACED, PROVEN])
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_lost_link_is_told_with_how_far_it_came(folder: Path, keys: str, air: str) -> None:
    drops = device("{check: false, cases: [{every: 12, disconnect: true}, {set: {received: {add: 1}}}]}")
    ran = written(folder, keys, drops, air=air)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")
    assert re.search(r", after \d+ of \d+ pieces \(\d+ of 5000 bytes\)$", ran.ended.message)
    if keys == PROVEN:
        assert ran.ended.message.endswith("after 11 of 50 pieces (1100 of 5000 bytes)")


def test_the_link_may_end_with_the_last_piece_and_not_before(folder: Path) -> None:
    """A boot loader restarts the unit with its last piece; one that crashes half way has not passed."""
    meant = f"{PROVEN}    expect: {{lost_after: {{max: 2 s}}}}\n"
    restarts = "{check: false, cases: [{every: NUMBER, disconnect: true}, {set: {received: {add: 1}}}]}"
    assert written(folder, meant, device(restarts.replace("NUMBER", "50"))).ended.exit_code == 0
    early = written(folder, meant, device(restarts.replace("NUMBER", "12")))
    assert (early.ended.verdict, early.ended.cause) == ("fail", "link")
    assert early.ended.message.endswith("after 11 of 50 pieces (1100 of 5000 bytes)")


def test_a_refused_piece_is_the_devices_and_can_be_judged(folder: Path) -> None:
    refuses = device("{check: false, cases: [{every: 12, att_error: 0x80}, {set: {received: {add: 1}}}]}")
    ran = written(folder, PROVEN, refuses)
    assert (ran.ended.cause, ran.step(3).notes[-1].text) == (
        "device",
        "the device refused after 11 of 50 pieces (1100 of 5000 bytes)",
    )
    judged = f"{PROVEN}    expect: {{att_error: {{equals: application error 0x80}}}}\n"
    assert written(folder, judged, refuses).ended.exit_code == 0
    assert written(folder, judged).ended.cause == "limit"


def test_a_device_that_is_slow_or_silent(folder: Path) -> None:
    slow = device("{check: false, delay: 500 ms}")
    assert written(folder, f"{PROVEN}    expect: {{throughput: {{min: 5 kbit/s}}}}\n", slow).ended.cause == "limit"
    late = written(folder, f"{PROVEN}    within: 5 s\n", slow, f"{RECEIVE}    expect: {{value: {{equals: 0}}}}\n")
    assert (late.step(3).ended.cause, late.verdicts()[2:]) == ("limit", ["fail", "pass"]), "the link is there still"
    assert late.step(3).ended.message.startswith("the time of the step is over, after ")
    silent = written(folder, f"{PROVEN}    within: 5 s\n", device("{check: false, silent: true}"))
    assert (silent.ended.cause, ", after 0 of 50 pieces" in silent.ended.message) == ("device", True)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("file: missing.bin\n    pieces: payload", "cannot read the file missing.bin: No such file or directory"),
        ("file: empty.bin\n    pieces: payload", "the file empty.bin is empty"),
        ("file: .\n    pieces: payload", "cannot read the file .: Is a directory"),
        ("file: image.bin", "the file image.bin has 5000 bytes; an attribute value has at most 512"),
        ("file: '${image}'", "cannot read the file other.bin: No such file or directory"),
        ("raw: '00'\n    pieces: payload", "pieces needs a file"),
        ("raw: '00'\n    file: small.bin", "a write needs either value, raw or file"),
        ("file: image.bin\n    pieces: 513", "a piece has at most 512 bytes, not 513"),
        ("file: image.bin\n    pieces: 0", "expected a number of bytes or 'payload', found the number 0"),
        ("file: image.bin\n    pieces: 20\n    read_back: true", "what is written in pieces cannot be read back"),
    ],
)
def test_what_is_wrong_with_a_file_is_told_before_the_run(folder: Path, keys: str, message: str) -> None:
    plan, given = folder / "plan.yaml", "given: {image: {default: other.bin}}\n" if "${" in keys else ""
    plan.write_text(plan_text(f"  - write: image\n    {keys}\n", attributes=NAMES, head=given), "utf-8")
    with pytest.raises(PlanError) as refused:
        load_plan(plan, {})
    [problem] = refused.value.problems
    assert message in problem.message


def test_a_file_that_goes_away_before_its_step_is_no_fault_of_the_unit(folder: Path) -> None:
    plan = folder / "plan.yaml"
    step = f"  - write: image\n    file: image.bin\n{PACED}"
    plan.write_text(plan_text(step, attributes=NAMES), "utf-8")
    ran = run(plan, SOUND, during=lambda _, __: (folder / "image.bin").unlink(missing_ok=True))
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "plan")


def test_a_piece_that_the_link_does_not_carry_is_a_mistake_of_the_plan(folder: Path) -> None:
    ran = written(folder, "    pieces: 400\n    response: false\n")
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "plan")
    assert "this link carries 244" in ran.ended.message


def test_a_secret_is_no_name_of_a_file(folder: Path) -> None:
    step, given = "  - write: image\n    file: '${pin}'\n    pieces: 20\n", "given: {pin: {secret: true}}\n"
    (folder / "plan.yaml").write_text(plan_text(step, attributes=NAMES, head=given), "utf-8")
    with pytest.raises(PlanError, match="would be the name of a file in the record"):
        load_plan(folder / "plan.yaml", {"pin": "small.bin"})
