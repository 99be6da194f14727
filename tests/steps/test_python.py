"""What a function of a plan gets and may return: through whole runs, and the page about it against the code."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import benchrig
from benchrig.steps.lent import Bench
from tests.reference import EXAMPLES, SECTIONS, words
from tests.run.kit import HEAD, device_text, run

RETURNS = "from decimal import Decimal\nfrom fractions import Fraction\nimport datetime, numpy\nfrom benchrig import Quantity\n"


def returned(folder: Path, result: str, limits: str, *, kind: str = "def"):
    """What a run came to whose function returns this."""
    (folder / "rig.py").write_text(f"{RETURNS}\n{kind} f(bench):\n    return {result}\n", "utf-8")
    plan = folder / "plan.yaml"
    plan.write_text(f"{HEAD}steps:\n  - call: rig:f\n    expect: {{{limits}}}\n", "utf-8")
    return run(plan)


@pytest.mark.parametrize(
    ("result", "limits", "outside"),
    [
        ("numpy.float64(0.1)", "value: {equals: 0.1}", "value: {equals: 0.2}"),
        ("numpy.float32(0.5)", "value: {equals: 0.5}", "value: {max: 0.4}"),
        ("numpy.int64(7)", "value: {equals: 7}", "value: {min: 8}"),
        ("numpy.bool_(True)", "value: {equals: true}", "value: {equals: false}"),
        ("numpy.array([0.5, 2.0])", "value: {max: 2}", "value: {max: 1}"),
        ("{'a': Decimal('0.1'), 'b': Fraction(1, 4)}", "a: {equals: 0.1}, b: {equals: 0.25}", "b: {max: 0.2}"),
        ("{'pump': {'speed': Quantity(3, 'Hz'), 'on': True}}", "pump.speed: {max: 3 Hz}, pump.on: {equals: true}", "pump.speed: {max: 2 Hz}"),
        ("[Quantity(1, 'V'), Quantity(2500, 'mV')]", "value: {max: 2.5 V}", "value: {max: 2400 mV}"),
        ("(Quantity(Decimal('21.4'), '°C') - Quantity(20, '°C')) / Quantity(2, 'K')", "value: {equals: 0.7}", "value: {max: 0.6}"),
    ],
)  # fmt: skip
def test_what_may_be_returned(tmp_path: Path, result: str, limits: str, outside: str) -> None:
    ended = returned(tmp_path, result, limits).ended
    assert ended.exit_code == 0, ended.message
    failed = returned(tmp_path, result, outside).ended
    assert (failed.verdict, failed.cause) == ("fail", "limit"), failed.message


@pytest.mark.parametrize(
    ("result", "message"),
    [
        ("{1, 2}", "rig:f returned set for 'value' (rig.py:6)"),
        ("object()", "rig:f returned object for 'value' (rig.py:6)"),
        ("datetime.date(2026, 1, 2)", "rig:f returned date for 'value' (rig.py:6)"),
        ("numpy.complex128(1j)", "rig:f returned complex for 'value' (rig.py:6)"),
        ("[{'a': 1}]", "rig:f returned dict for 'value' (rig.py:6)"),
        ("[Quantity(1, 'V'), 2]", "rig:f returned a list for 'value' in which 2 has no unit (rig.py:6)"),
        ("[Quantity(1, 'V'), Quantity(1, 'A')]", "rig:f returned a list for 'value': 1 A is a current, not a voltage (rig.py:6)"),
        ("bench.read('battery level')", "rig:f returned coroutine for 'value' (rig.py:6)"),
        ("Quantity(1, 'V') + Quantity(1, 'A')", "rig:f raised Misfit: "),
        ("Quantity(1, 'V') < Quantity(1, 'A')", "rig:f raised Misfit: "),
        ("Quantity(1, 'Vv')", "rig:f raised Misfit: unknown unit 'Vv' (rig.py:7)"),
        ("numpy.zeros(2).reshape(7)", "rig:f raised ValueError: cannot reshape array of size 2 into shape (7,) (rig.py:7)"),
        ("bench.reading('value', 1) or bench.reading('value', 1)", "the step gave the reading 'value' twice (rig.py:7)"),
    ],
)  # fmt: skip
def test_what_may_not_is_a_mistake_with_the_line_of_the_function(tmp_path: Path, result: str, message: str) -> None:
    ended = returned(tmp_path, result, "other: {max: 1}").ended
    assert (ended.verdict, ended.cause, ended.exit_code) == ("error", "plan", 4)
    assert ended.message.startswith(message)
    assert "(rig.py:" in ended.message


def test_a_name_that_benchrig_does_not_have_is_no_trouble_of_the_station(tmp_path: Path) -> None:
    (tmp_path / "rig.py").write_text("from benchrig import Quantiti\n", "utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(f"{HEAD}steps:\n  - call: rig:f\n", "utf-8")
    ended = run(plan).ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)
    assert "(rig.py:1)" in ended.message


# --- what a function gets

KINDS = """
def kinds(bench, **values):
    return {name: type(value).__name__ for name, value in values.items()} | {
        "same": all(bench.given[name] == value for name, value in values.items())}
def source(bench):
    from benchrig import Quantity
    return {"volts": Quantity(3, "V"), "number": 3, "half": 0.5, "text": "03", "bytes": b"\\x03", "sure": True}
"""


def test_the_types_of_what_it_gets(tmp_path: Path) -> None:
    (tmp_path / "rig.py").write_text(KINDS, "utf-8")
    names = ["volts", "number", "half", "text", "bytes", "sure"]
    wanted = ["Quantity", "int", "float", "str", "bytes", "bool"]
    saves = ", ".join(f"{name}: {name}" for name in names)
    gets = ", ".join(f"{name}: '${{{name}}}'" for name in names)
    limits = ", ".join(f"{name}: {{equals: {kind}}}" for name, kind in zip(names, wanted, strict=True))
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        f"{HEAD}steps:\n  - call: rig:source\n    save: {{{saves}}}\n  - call: rig:kinds\n    with: {{{gets}}}\n"
        f"    expect: {{{limits}, same: {{equals: true}}}}\n",
        "utf-8",
    )
    ended = run(plan).ended
    assert ended.exit_code == 0, ended.message


WORKED_OUT = """
def kinds(bench, **values):
    return {name: "str" if isinstance(value, str) else type(value).__name__ for name, value in values.items()}
"""


def test_the_types_of_what_is_given_and_worked_out(tmp_path: Path) -> None:
    (tmp_path / "rig.py").write_text(WORKED_OUT, "utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        f"{HEAD}given: {{typed: {{}}, own: {{default: 3}}, volts: {{default: 3 V}}, token: {{random: {{bytes: 8}}}}}}\n"
        "steps:\n  - call: rig:kinds\n"
        "    with: {typed: '${typed}', own: '${own}', token: '${token}', part: '${own / 7}', volts: '${volts - 1 V}'}\n"
        "    expect: {typed: {equals: str}, own: {equals: int}, token: {equals: bytes}, part: {equals: Fraction},"
        " volts: {equals: Quantity}}\n",
        "utf-8",
    )
    ended = run(plan, given={"typed": "12"}).ended
    assert ended.exit_code == 0, ended.message


SERVICES = """services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 97 %}
      - {characteristic: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40, properties: [read, write], raw: '01 02'}
"""
READS = """
from benchrig import AttError, Quantity
async def reads(bench):
    assert bench.is_connected
    level = await bench.read("battery level")
    own = "6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40"
    before = await bench.read(own)
    await bench.write(own, b"\\x03\\x04")
    after = await bench.read(own)
    return {"level": level, "before": before, "after": after}
async def unknown(bench):
    await bench.read("batery level")
async def refused(bench):
    await bench.write("battery level", 3)
"""


@pytest.mark.parametrize(
    ("step", "code", "message"),
    [
        ("call: f:reads\n    expect: {level: {equals: 97 %}, before: {equals: 01 02}, after: {equals: 03 04}}", 0, ""),
        ("call: f:reads\n    expect: {level: {equals: 96 %}}", 1, ""),
        ("call: f:unknown", 4, "f:unknown raised Misfit: unknown attribute 'batery level' (f.py:12)"),
        ("call: f:refused", 1, "battery level does not offer write or reliable write; its properties: read"),
    ],
)
def test_a_function_reads_and_writes(tmp_path: Path, step: str, code: int, message: str) -> None:
    (tmp_path / "f.py").write_text(READS, "utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(f"{HEAD}steps:\n  - connect:\n  - {step}\n", "utf-8")
    ran = run(plan, device_text(SERVICES))
    assert ran.ended.exit_code == code, ran.ended.message
    assert message in ran.ended.message
    if code == 0:
        assert [note.sent for note in ran.step(2).notes] == ["0304"]


def test_a_caution_is_acknowledged_before_a_function(tmp_path: Path) -> None:
    (tmp_path / "f.py").write_text("def f(bench): return 1\n", "utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(f"{HEAD}caution: clamp it\nsteps:\n  - call: f:f\n    expect: {{value: {{equals: 1}}}}\n", "utf-8")
    assert run(plan, acknowledged=False).ended.cause == "operator"
    assert run(plan).ended.exit_code == 0


# --- the page


def test_every_member_of_the_bench_is_on_the_page() -> None:
    rows = SECTIONS["The bench"].table("member")
    listed = {word.partition("(")[0] for row in rows for word in words(row["member"])}
    assert listed == {name for name in vars(Bench) if not name.startswith("_")}


def test_the_names_on_the_page_come_from_benchrig() -> None:
    shown = {name for example in EXAMPLES if example.page == "reference/python.md" and example.kind == "python"
             for line in example.text.splitlines() if line.startswith("from benchrig import ")
             for name in line.removeprefix("from benchrig import ").split(", ")}  # fmt: skip
    assert shown
    assert shown <= {*benchrig.__all__}


@pytest.mark.slow
def test_functions_are_checked_by_their_authors_mypy(tmp_path: Path) -> None:
    """The examples are sound; a wrong one is told."""
    for example in EXAMPLES:
        if example.page == "reference/python.md" and example.kind == "python":
            (tmp_path / example.file).write_text(example.text, "utf-8")
    (tmp_path / "wrong.py").write_text(
        "from benchrig import Bench, Quantity, Value\n\n\n"
        "def no_member(bench: Bench) -> Value:\n    return bench.temperature\n\n\n"
        "def no_value(bench: Bench) -> Value:\n    return {1, 2}\n\n\n"
        "def no_sum(a: Quantity) -> Quantity:\n    return a + 3\n",
        "utf-8",
    )
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), "."]
    here = {**os.environ, "MYPYPATH": str(Path(benchrig.__file__).parents[1])}
    ran = subprocess.run(command, cwd=tmp_path, env=here, capture_output=True, text=True, timeout=300)
    told = {line.partition(": error")[0] for line in ran.stdout.splitlines() if ": error" in line}
    assert told == {"wrong.py:5", "wrong.py:9", "wrong.py:13"}, ran.stdout
