"""Whatever a file holds, loading it gives a plan or says what is wrong; nothing else is ever raised."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchrig.errors import PlanError, UsageError
from benchrig.plan.model import Plan
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_bytes, read_text
from benchrig.steps import KINDS
from benchrig.steps.attribute import AttributeSpec
from benchrig.values.limit import Limit
from tests.plan.building import HEAD, plan_of

PLANS = Path(__file__).parents[2] / "testplans"
TEXTS = [path.read_text("utf-8") for path in sorted(PLANS.glob("*.yaml"))]
PARTS = {"identity": (PLANS / "parts" / "identity.yaml").read_text("utf-8")}


def loaded(text: str | bytes, given_values: dict[str, str] | None = None) -> Plan | str:
    """The plan, or what is said of it."""
    try:
        return plan_of(text, given_values, **PARTS)
    except (PlanError, UsageError) as error:
        return str(error)


# --- pieces that a plan is made of, right ones in wrong places included

WORDS = st.sampled_from(
    [*KINDS, "use", "with", "name", "within", "expect", "save", "value", "raw", "steps", "plan", "device", "select",
     "attributes", "uuid", "as", "scale", "unit", "fields", "given", "default", "table", "format", "for", "count",
     "counter", "reply", "kind", "options", "read_back", "attempts", "on_fail", *Limit.__struct_fields__]
)  # fmt: skip
SCALARS = st.sampled_from(
    ["", "null", "true", "0", "-1", "0.1", "0x2A6E", "2902", "9" * 59, "9" * 61 + " s", "1" + "0" * 5000 + " s", "5 s",
     "-5 s", "20 °C", "5 %", "temperature", "battery service", "battery/battery level", "handle 0x0012", "uint16",
     "medfloat16", "'${a}'", "'${a} $$ ${b}'", "'$$'", "'${'", "'${}'", "'(a'", "'[[a]'", "'(?i)a'", "a{4294967296}",
     "'" + "(" * 300 + "'", "parts/identity.yaml", "identity.yaml", ".", "'\\0'", '"\\0"', "/dev/null", "a:b", "DE AD",
     "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40", "not known", "yes", "1e5", "~", "2026-01-31", "{}", "[]", "[[[]]]"]
) | st.text(max_size=8).map(repr)  # fmt: skip
FLOW = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
        | st.dictionaries(WORDS | SCALARS, inner, max_size=4).map(
            lambda entries: f"{{{', '.join(f'{key}: {value}' for key, value in entries.items())}}}"
        )
    ),
    max_leaves=12,
)


READINGS = st.sampled_from(["value", "elapsed", "att_error", "raw", "length", "count", "table", "value.heart_rate"])
LIMITS = st.dictionaries(st.sampled_from(Limit.__struct_fields__), FLOW, min_size=1, max_size=3)
ATTRIBUTES = st.sampled_from(
    ["temperature", "heart rate measurement", "manufacturer name", "alert level", "own", "'${a}'"]
)


def keys_of(model: type) -> list[str]:
    return [field.encode_name for field in msgspec.structs.fields(model)]


def flow(entries: dict[str, str]) -> str:
    return f"{{{', '.join(f'{key}: {value}' for key, value in entries.items())}}}"


@st.composite
def steps(draw: st.DrawFn) -> str:
    """A step with keys of its kind; what stands behind them is anything."""
    kind = draw(st.sampled_from([*KINDS.values()]))
    lines = [f"  - {kind.verb}: {draw(ATTRIBUTES | SCALARS)}"]
    for key in draw(st.lists(st.sampled_from(keys_of(kind)), max_size=3, unique=True)):
        limits = st.dictionaries(READINGS, LIMITS.map(flow), max_size=2).map(flow)
        value = draw(limits | FLOW if key == "expect" else FLOW)
        lines += [f"    {key}: {value}"] if key != kind.verb else []
    return "\n".join(lines)


@st.composite
def plan_texts(draw: st.DrawFn) -> str:
    """A plan that is nearly right: the keys are known ones, what stands behind them is anything."""
    formats = st.dictionaries(st.sampled_from(keys_of(AttributeSpec)), FLOW)
    lines = [f"plan: {draw(SCALARS)}\ndevice: {draw(FLOW)}" if draw(st.integers(0, 9)) == 0 else HEAD.rstrip()]
    if draw(st.booleans()):
        lines.append(f"  attributes: {{own: {flow({'uuid': '0x2A6E'} | draw(formats))}}}")
    if draw(st.booleans()):
        lines.append(f"given: {{a: {flow(draw(LIMITS | st.just({})) | {'default': draw(SCALARS)})}}}")
    lines += ["steps:\n  - connect:", *draw(st.lists(steps(), max_size=3))]
    lines += ["  - use: identity.yaml", f"    with: {draw(FLOW)}"] if draw(st.booleans()) else []
    return "\n".join(lines) + "\n"


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A plan that ships with a few lines or words exchanged, doubled, cut or filled with something else."""
    lines = draw(st.sampled_from(TEXTS)).split("\n")
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        line, other = lines[at], lines[draw(st.integers(0, len(lines) - 1))]
        cut = draw(st.integers(0, len(line)))
        put = draw(SCALARS | st.characters())
        lines[at] = draw(
            st.sampled_from(
                [other, line[:cut], line[cut:], line + "\n" + line, line[:cut] + "{" + line[cut:], " " + line,
                 line[:cut] + put + line[cut:], f"{line.partition(':')[0]}: {put}"]
            )
        )  # fmt: skip
    return "\n".join(lines)


@given(st.text() | st.text(alphabet="-:{}[]'\"\n #&*!|>?%@`$ab0.\u2028\u0085\r\ufeff", max_size=60))
@settings(deadline=None)
def test_any_text(text):
    assert loaded(text.encode("utf-8", "surrogatepass"))


@given(st.binary(max_size=80))
@example(b"\xff\xfeplan")
@example(b"\x00")
def test_any_bytes(data):
    problems = Problems()
    node = read_bytes(data, "any", problems)
    assert node is not None or problems.found


@given(plan_texts())
@settings(max_examples=40, deadline=None)
def test_anything_behind_known_keys(text):
    assert loaded(text)


@pytest.mark.slow
@given(plan_texts())
@settings(max_examples=1000, deadline=None)
def test_anything_behind_known_keys_at_length(text):
    assert loaded(text)


@given(mutated())
@settings(max_examples=80, deadline=None)
def test_a_good_plan_with_a_few_words_changed(text):
    assert loaded(text)


@given(st.text(max_size=20), st.sampled_from(["'${a}'", "'x ${a}'"]), st.sampled_from(
    ["read: manufacturer name\n    name: %s", "wait: %s", "read: temperature\n    attempts: %s", "read: %s",
     "read: temperature\n    expect: {value: {max: %s}}", "write: temperature\n    value: %s", "use: %s",
     "write: alert level\n    raw: %s", "read: model number\n    expect: {value: {matches: %s}}", "scan:\n    mode: %s",
     "discover:\n    expect: {table: %s}", "command: [%s]", "read: temperature\n    expect: %s"]))  # fmt: skip
@settings(deadline=None)
def test_any_value_of_the_run_at_any_place(value, reference, step):
    text = f"{HEAD}given: {{a: {{}}}}\nsteps:\n  - connect:\n  - {step % reference}\n"
    assert loaded(text, {"a": value})


@pytest.mark.parametrize("text", ["[" * 100_000, "{a: " * 100_000, "- " * 100_000, "? " * 50_000, "a:\n" * 50_000])
def test_depth_and_length_end_in_a_message(text):
    problems = Problems()
    assert read_text(text, "deep", problems) is None or problems.found
    assert problems.found
