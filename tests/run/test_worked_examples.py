"""Every worked example through whole runs: served as octets, read over ATT, judged, written back and read back."""

from __future__ import annotations

import re
from typing import Any

import pytest

from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.format import Format, FormatSpec, build_format
from tests.run.kit import Ran, device_text, plan_text, run
from tests.run.writing import written, written_fields
from tests.values.worked_examples import EXAMPLES, FLOATS, Example, FloatExample

AnyExample = Example | FloatExample

SHOWN, KEPT = "7b1f1001-4d1e-4b6f-9a57-2f3c1de0a001", "7b1f1002-4d1e-4b6f-9a57-2f3c1de0a001"
ALL: list[AnyExample] = [*EXAMPLES, *FLOATS]
GOOD = [one for one in ALL if not one.error]
WRONG = [one for one in ALL if one.error]


def float_uuid(number: int) -> str:
    return f"7b1f2{number:03x}-4d1e-4b6f-9a57-2f3c1de0a001"


def format_of(example: AnyExample) -> Format:
    if isinstance(example, FloatExample):
        return build_format(FormatSpec(as_=example.format))
    form = catalogue.definition(int(example.uuid, 16))
    assert form is not None
    return form


def attribute(example: AnyExample) -> str:
    """Adopted characteristics by UUID and index among the equal ones, floats by the plan's own names."""
    if isinstance(example, FloatExample):
        return f"float {FLOATS.index(example)}"
    same = [one for one in EXAMPLES if one.uuid == example.uuid]
    return f"{example.uuid}[{same.index(example)}]"


def served(example: AnyExample, raw: str) -> str:
    """The characteristic of a device file that holds the octets."""
    if isinstance(example, FloatExample):
        what = f"characteristic: {float_uuid(FLOATS.index(example))}, as: {example.format}"
    else:
        what = f"characteristic: '{example.uuid}'"
    name = f"{attribute(example)} {'kept' if not raw else 'shown'}"
    return f"      - {{{what}, name: '{name}', properties: [read, write], raw: '{raw}', on_write: {{check: false}}}}\n"


DEVICE = device_text(
    f"services:\n  - service: {SHOWN}\n    characteristics:\n"
    + "".join(served(one, one.octets.hex()) for one in ALL)
    + f"  - service: {KEPT}\n    characteristics:\n"
    + "".join(served(one, "") for one in ALL)
)
ALIASES = "\n".join(
    f"    float {number}: {{uuid: {float_uuid(number)}, as: {one.format}}}" for number, one in enumerate(FLOATS)
)


def readings_of(example: AnyExample) -> dict[str, tuple[Any, str]]:
    """The readings that the example stands for, each with its unit."""
    form = format_of(example)
    if not isinstance(example.value, dict):
        return {"value": (example.value, form.unit)}
    units = form.fields()
    return {f"value.{name}": (value, units.get(name, "")) for name, value in example.value.items()}


def limit(value: Any, unit: str) -> str:
    return f"equals: {written(value, unit)}"


# Bounds of a time are times.
_A_TIME = re.compile(r"[\d?]{4}-[\d?]{2}-[\d?]{2}T.*")


def another(value: Any, leaf: Format) -> Any:
    """A value of the same kind that is not this one, and that the format carries too."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, list):
        return [*value, 1]
    if isinstance(value, str) and _A_TIME.fullmatch(value):
        return "1987-06-05T04:03:02"
    if leaf.kind == "bytes":
        return bytes(len(value))
    near = [value + 1, value - 1] if isinstance(value, (int, float)) else ["other"]
    tried = [*near, 0, 1, 100, 0.5, *getattr(leaf, "words", {}).values()]
    return next(one for one in tried if one != value and carries(leaf, one))


def carries(leaf: Format, value: Any) -> bool:
    try:
        return leaf.decode(leaf.encode(value)) == value
    except MalformedValue:
        return False


def read_step(example: AnyExample, change: Any = lambda value, leaf: value) -> str:
    form = format_of(example)
    leaves = form.leaves()
    limits = ", ".join(
        f"{name}: {{{limit(change(v, leaves.get(name.removeprefix('value.'), form)), unit)}}}"
        for name, (v, unit) in readings_of(example).items()
    )
    expect = "" if example.error else f"    expect: {{{limits}}}\n"
    return f"  - read: '{SHOWN}/{attribute(example)}'\n    name: {example}\n{expect}"


def write_step(example: AnyExample) -> str:
    form = format_of(example)
    value = example.value
    text = written_fields(value, form.fields()) if isinstance(value, dict) else written(value, form.unit)
    return f"  - write: '{KEPT}/{attribute(example)}'\n    name: {example}\n    value: {text}\n    read_back: true\n"


@pytest.fixture(scope="module")
def reads() -> Ran:
    return run(plan_text("".join(map(read_step, ALL)), attributes=ALIASES), DEVICE)


@pytest.fixture(scope="module")
def wrong_limits() -> Ran:
    return run(plan_text("".join(read_step(one, another) for one in GOOD), attributes=ALIASES), DEVICE)


@pytest.fixture(scope="module")
def writes() -> Ran:
    return run(plan_text("".join(map(write_step, GOOD)), attributes=ALIASES), DEVICE)


@pytest.mark.parametrize("example", GOOD, ids=str)
def test_is_read_and_judged(example: AnyExample, reads: Ran) -> None:
    step = reads.step(str(example))
    assert step.ended.verdict == "pass", step.ended.message
    assert {r.name: (r.value, r.unit) for r in step.readings} == readings_of(example)
    assert {r.raw for r in step.readings} == {example.octets.hex().upper()}
    assert all(r.judgement.passed for r in step.readings)


@pytest.mark.parametrize("example", GOOD, ids=str)
def test_fails_the_limit_of_another_value(example: AnyExample, wrong_limits: Ran) -> None:
    step = wrong_limits.step(str(example))
    assert (step.ended.verdict, step.ended.cause) == ("fail", "limit")
    assert not any(r.judgement.passed for r in step.readings)


@pytest.mark.parametrize("example", WRONG, ids=str)
def test_is_refused_with_its_octets(example: AnyExample, reads: Ran) -> None:
    step = reads.step(str(example))
    assert (step.ended.verdict, step.ended.cause) == ("fail", "device")
    assert example.error in step.ended.message
    assert f"(bytes {example.octets.hex(' ').upper()})" in step.ended.message
    assert [r.raw for r in step.readings] == [example.octets.hex().upper()], "the octets are on record"


@pytest.mark.parametrize("example", [one for one in GOOD if one.encodes_back], ids=str)
def test_is_written_and_read_back(example: AnyExample, writes: Ran) -> None:
    step = writes.step(str(example))
    assert step.ended.verdict == "pass", step.ended.message
    assert step.notes[0].text == f"sends {example.octets.hex(' ').upper()}"
    assert {r.name: (r.value, r.unit) for r in step.readings} == readings_of(example)


@pytest.mark.parametrize("example", [one for one in GOOD if not one.encodes_back], ids=str)
def test_is_written_in_other_octets_of_the_same_value(example: AnyExample, writes: Ran) -> None:
    step = writes.step(str(example))
    assert step.notes[0].text != f"sends {example.octets.hex(' ').upper()}"
    assert {r.name: (r.value, r.unit) for r in step.readings} == readings_of(example)
