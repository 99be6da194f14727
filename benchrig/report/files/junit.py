"""The record as JUnit XML, for build servers: one testsuite a plan, one testcase a step. Both keep their names from run
to run, whatever the unit, and when steps are added to the plan: build servers follow them by these.

There is no official schema; two are in use, and each refuses documents that the other takes:

junit-10   the schema of Jenkins' xUnit plugin. Test cases may carry system-out and the attempts before the one
           that counted; the time of a suite has at most three decimals; `type` of a failure is optional.
ant        the schema after Apache Ant's JUnit task: `testsuites` bare, every suite with package and id, a time stamp
           without zone or fraction, `properties` first and system-out and system-err last in each suite, no output in
           a test case, at most one of skipped, error and failure, each with its type.

Limits and values stand in the suite's properties for machines and in the text for people. The name of a property is that
of the test case, the reading and what is said of it, with ':' between them: 'read battery level:value:low'.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, TypeAlias
from xml.etree import ElementTree as ET

from benchrig.report import access, at_line, explain, requirements, whole
from benchrig.report.names import unused
from benchrig.report.outline import Entry, Once, OverRounds, ReadingOverRounds, allowed_by, outline
from benchrig.report.registry import Report
from benchrig.report.suites import joined_suites
from benchrig.text.escape import hex_text, is_number, json_text, plain, plain_lines, value_text

if TYPE_CHECKING:
    from benchrig.record.events import DeviceSeen, NotJudged, Reading
    from benchrig.record.model import Execution, Record
    from benchrig.values.judging import Judgement

Dialect: TypeAlias = Literal["junit-10", "ant"]
Result: TypeAlias = Literal["failure", "error", "skipped"]

VALUE_LIMIT = 4096
# Of the name of a property: that of a case, of a reading, and what is said of it.
_NAME = 500
# Of the rounds in which a step failed, so many are told in full.
_ROUNDS = 5
_RESULTS: dict[explain.State, Result | None] = {
    "pass": None, "fail": "failure", "error": "error", "skip": "skipped", "left out": "skipped", "cut off": "error",
    "not run": "skipped",
}  # fmt: skip
# For a dialect that wants a time stamp when the record has none that can be read.
_UNKNOWN_TIME = datetime(1970, 1, 1, tzinfo=UTC)
# The case of the run, and what its properties begin with: no step is called so.
_TAKEN = frozenset({"run", "version", "line", "given", "unit", "device", "limits", "requirement"})


class _Case(NamedTuple):
    """One testcase; `lines` explain a result that is not a pass, `output` are the readings of the step."""

    name: str
    section: str
    seconds: float
    result: Result | None = None
    type: str = ""
    message: str = ""
    lines: tuple[str, ...] = ()
    output: tuple[str, ...] = ()
    retries: tuple[tuple[str, str], ...] = ()


def junit_xml(record: Record, *, dialect: Dialect = "junit-10") -> bytes:
    """The document, UTF-8 with its declaration, valid in the dialect whatever the record holds."""
    shown = _named(record)
    cases = [*_step_cases(record, shown)]
    if (trouble := whole.run_trouble(record)) is not None:
        cases.append(_run_case(trouble, _marked(record)))
    root = ET.Element("testsuites")
    suite = ET.SubElement(root, "testsuite", _suite_attributes(record, cases, dialect))
    _properties(suite, record, shown)
    for case in cases:
        _testcase(suite, case, explain.plan_name(record), dialect)
    _element(suite, "system-out", _suite_output(record, cases, dialect))
    _element(suite, "system-err", [])
    ET.indent(root)
    data: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


# --- cases


def _named(record: Record) -> list[tuple[str, Entry]]:
    """The steps that are cases, each with its name: as the plan has it, without the values of this run."""
    names, shown = {*_TAKEN}, [entry for entry in outline(record) if whole.counts(entry)]
    return [(unused(_name(each.node.written, each.node.name, each.node.kind), names), each) for each in shown]


def _step_cases(record: Record, shown: list[tuple[str, Entry]]) -> Iterator[_Case]:
    mark = _marked(record)
    for name, entry in shown:
        case = _over_case(entry, name) if isinstance(entry, OverRounds) else _case(entry, name)
        yield case._replace(message=mark + case.message) if case.result else case


def _marked(record: Record) -> str:
    """What goes before each message: who reads nothing else must see it."""
    marks = whole.marks(record)
    return f"[{', '.join(marks)}] " if marks else ""


def _run_case(trouble: whole.Trouble, mark: str) -> _Case:
    lines = [trouble.message, *([f"advice: {trouble.advice}"] if trouble.advice else [])]
    return _Case("run", "run", 0.0, _RESULTS[trouble.verdict], trouble.cause, mark + trouble.message, tuple(lines))


def _over_case(entry: OverRounds, name: str) -> _Case:
    """A step of a repetition: all rounds together, the first of those that failed in full."""
    state, failed = entry.state, entry.failed[:_ROUNDS]
    allowed = bool(entry.tolerated) and state == "fail"
    result = None if allowed else _RESULTS[state]
    told = whole.summary(entry)
    causes = [
        (step.ended.cause or state, f"{step.where.label}: {_message(step, state)}") for step in failed if step.ended
    ]
    return _Case(
        name=name,
        section=entry.node.section,
        seconds=entry.seconds,
        result=result,
        type=causes[0][0] if causes and result in ("failure", "error") else state,
        message="; ".join([told + whole.why_undone(entry, state), *(message for _, message in causes[:1])])
        if result
        else "",
        lines=tuple(
            line for step in failed for line in (f"step {explain.telling_title(step)}", *explain.explanation(step))
        )
        if result in ("failure", "error")
        else (),
        output=(told, *map(_over_line, entry.readings.values())),
        retries=tuple(causes) if allowed else (),
    )


def _over_line(reading: ReadingOverRounds) -> str:
    samples, judgement = reading.samples, reading.judgement
    measured = explain.from_to(samples) if samples else value_text(reading.last.value if reading.last else None)
    parts = [f"{plain(reading.name)} = {measured} {plain(reading.unit)}".rstrip(), f"n = {reading.count}"]
    if judgement is not None:
        parts += [
            f"limit {plain(judgement.limit)}",
            f"{reading.failed} of {reading.passed + reading.failed} outside",
        ]
    return "; ".join(parts)


def _case(entry: Once, name: str) -> _Case:
    """What a limit allowed to fail is told like an attempt before one that counted."""
    case = _step_case(entry.step, name)
    if not (entry.tolerated and case.result == "failure"):
        return case
    told = f"tolerated: {allowed_by(entry.tolerated)} allows that"
    return case._replace(
        result=None, lines=(), output=(told, *case.output), retries=(*case.retries, (case.type, case.message))
    )


def _step_case(step: Execution, name: str) -> _Case:
    state = explain.state(step)
    result = _RESULTS[state]
    return _Case(
        name=name,
        section=step.planned.section,
        seconds=step.ended.elapsed if step.ended else 0.0,
        result=result,
        type=(step.ended and step.ended.cause) or state,
        message=_message(step, state) if result else "",
        lines=(*_doing(step), *explain.explanation(step)) if result in ("failure", "error") else (),
        output=(
            *map(_reading_line, step.readings),
            *(line for reading in step.readings for line in _matrix_lines(step, reading)),
            *map(_not_judged_line, explain.unmeasured(step)),
            *(_left_out_line(limit) for limit in step.not_judged if whole.is_left_out(step, limit)),
        ),
        retries=tuple((a.cause, plain(a.message, explain.SENTENCE_LIMIT)) for a in step.retries),
    )


def _doing(step: Execution) -> list[str]:
    """The case has the name of the step already, but not what it does."""
    return [f"step {explain.telling_title(step)}"] if step.planned.does else []


def _name(*candidates: str) -> str:
    """The first that is not blank: a reader may strip names, and a schema may want one."""
    return next((name for text in candidates if (name := plain(text).strip())), "unnamed")


def _message(step: Execution, state: explain.State) -> str:
    if step.ended is None:
        return {"cut off": explain.CUT_OFF}.get(state, "the run did not come to this step")
    message = plain(explain.said(step), explain.SENTENCE_LIMIT) or f"step {step.where.label}: {state}"
    message = f"left out: {message}" if state == "left out" else message
    told = explain.attempts(step, causes=False)
    return f"{message} ({told})" if told else message


def _reading_line(reading: Reading) -> str:
    judgement = reading.judgement
    parts = [f"{plain(reading.name)} = {explain.measured(reading)} {plain(reading.unit)}".rstrip()]
    if reading.samples is not None:
        parts.append(f"n = {reading.samples.count}" + (" so far" if reading.partial else ""))
    if judgement is not None:
        parts += [f"limit {plain(judgement.limit)}", "pass" if judgement.passed else "fail"]
    return "; ".join(parts)


def _matrix_lines(step: Execution, reading: Reading) -> Iterator[str]:
    """What the unit allows, where an access step found it."""
    if reading.access:
        yield from access.sentences(access.of(step, reading.access))


def _not_judged_line(limit: NotJudged) -> str:
    return f"{plain(limit.name)}: not judged: {plain(limit.reason, explain.SENTENCE_LIMIT)}"


def _left_out_line(limit: NotJudged) -> str:
    return f"{plain(limit.name)}: left out: {plain(limit.reason, explain.SENTENCE_LIMIT)}"


def _testcase(suite: ET.Element, case: _Case, plan: str, dialect: Dialect) -> None:
    element = ET.SubElement(
        suite, "testcase", name=case.name, classname=f"{plan}.{case.section}", time=f"{case.seconds:.3f}"
    )
    if dialect == "junit-10":
        for cause, message in case.retries:
            ET.SubElement(element, "rerunFailure" if case.result else "flakyFailure", type=cause, message=message)
    if case.result == "skipped":
        ET.SubElement(element, "skipped", message=case.message)
    elif case.result is not None:
        _element(element, case.result, case.lines, type=case.type, message=case.message)
    if dialect == "junit-10" and case.output:
        _element(element, "system-out", case.output)


def _element(parent: ET.Element, tag: str, lines: tuple[str, ...] | list[str], **attributes: str) -> None:
    ET.SubElement(parent, tag, attributes).text = "\n".join(lines)


# --- the suite


def _suite_attributes(record: Record, cases: list[_Case], dialect: Dialect) -> dict[str, str]:
    counts = Counter(case.result for case in cases)
    attributes = {
        "name": explain.plan_name(record),
        "tests": str(len(cases)),
        "failures": str(counts["failure"]),
        "errors": str(counts["error"]),
        "skipped": str(counts["skipped"]),
        "time": f"{whole.duration(record):.3f}",
        "timestamp": _timestamp(record.run.started, dialect),
        "hostname": _name(record.run.station, "station"),
    }
    return attributes | ({"package": explain.plan_name(record), "id": "0"} if dialect == "ant" else {})


def _timestamp(started: str, dialect: Dialect) -> str:
    try:
        when = datetime.fromisoformat(started)
        when = when.astimezone(UTC) if when.tzinfo else when
    except (ValueError, OverflowError):
        when = _UNKNOWN_TIME
    return when.isoformat()[:19] + ("Z" if dialect == "junit-10" else "")


def _suite_output(record: Record, cases: list[_Case], dialect: Dialect) -> list[str]:
    """What test cases cannot carry, for people."""
    lines = [explain.SIMULATED] if record.run.simulated else []
    lines += [f"PARTIAL: {whole.left_out(record)}"] if record.run.left_out else []
    lines += [f"NOT JUDGED: {line}" for line in whole.not_judged(record)]
    lines += [f"caution: {line}" for line in plain_lines(record.run.caution) if line]
    if dialect == "ant":
        lines += [f"{case.name}: {line}" for case in cases for line in case.output]
    lines += [f"SHOWN: {line}" for line in whole.shown(record)]
    lines += [f"TOLERATED: {line}" for line in whole.tolerated(record)]
    lines += [*whole.retries(record)]
    lines += [f"requirement {proof.line}" for proof in requirements.proofs(record)]
    notes = (*whole.notes(record), *whole.skipped(record), *whole.limits_left_out(record), *whole.writes(record))
    return [*lines, *notes, whole.verdict_line(record)]


def _properties(suite: ET.Element, record: Record, shown: list[tuple[str, Entry]]) -> None:
    properties, names = ET.SubElement(suite, "properties"), set[str]()
    for name, value in (*_run_facts(record), *_reading_facts(shown)):
        if value is not None:
            ET.SubElement(properties, "property", name=unused(plain(name, _NAME), names), value=_fact(value))


def _fact(value: Any) -> str:
    """Numbers with all their digits, text as it is but escaped, the rest as JSON."""
    if isinstance(value, str):
        return plain(value, VALUE_LIMIT)
    return repr(value) if is_number(value) else json_text(value, VALUE_LIMIT)


def _run_facts(record: Record) -> Iterator[tuple[str, Any]]:
    run, unit, ended = record.run, record.unit, record.ended
    for name in (
        "run_id",
        "started",
        "plan",
        "revision",
        "plan_file",
        "plan_hash",
        "station",
        "radio",
        "simulated",
        "left_out",
        "seed",
    ):
        yield name, getattr(run, name)
    if run.limit_set is not None:
        yield "limit_set", explain.limit_set_name(record)
        yield "limit_set_hash", run.limit_set.sha256
    for name, value in run.versions.items():
        yield f"version:{name}", value
    yield "fixture", run.fixture.name if run.fixture else None
    yield "fixture:software", (run.fixture.software or None) if run.fixture else None
    for name, value in at_line.cells(record).items() if run.line else ():
        yield f"line:{name}", value or None
    for name, value in run.given.items():
        yield f"given:{name}", value
    yield "unit:given_serial", explain.given_serial(record) or None
    devices = explain.several(record)
    for key, device in devices.items():
        yield from _device_facts(f"device:{plain(key, _NAME)}", device)
    yield from _device_facts("unit", None if devices else unit)
    yield "marks", ", ".join(whole.marks(record)) or None
    yield "verdict", explain.outcome(record)
    yield "exit_code", ended.exit_code if ended else None
    yield "root", ended.root.label if ended and ended.root else None
    for name in ("planned", "judged", "not_judged", "allowed"):
        yield f"limits:{name}", getattr(ended, name) if ended else None
    for proof in requirements.proofs(record):
        yield f"requirement:{proof.name}", f"{proof.came_to}: {proof.why}: {proof.says}"


def _device_facts(head: str, device: DeviceSeen | None) -> Iterator[tuple[str, Any]]:
    for name in ("serial", "firmware", "hardware", "name", "address", "address_type") if device else ():
        yield f"{head}:{name}", getattr(device, name) or None


def _reading_facts(shown: list[tuple[str, Entry]]) -> Iterator[tuple[str, Any]]:
    for case, entry in shown:
        yield f"{case}:proves", requirements.proving(entry.node) or None
        yield from _over_facts(case, entry) if isinstance(entry, OverRounds) else _step_facts(case, entry.step)


def _over_facts(case: str, entry: OverRounds) -> Iterator[tuple[str, Any]]:
    for verdict, count in entry.verdicts.items():
        yield f"{case}:rounds:{verdict}", count or None
    for reading in entry.readings.values():
        head, samples = f"{case}:{reading.name}", reading.samples
        yield f"{head}:unit", reading.unit or None
        yield f"{head}:count", reading.count
        for name in ("minimum", "maximum", "mean", "sd") if samples is not None else ():
            yield f"{head}:{name}", getattr(samples, name)
        yield f"{head}:outside", reading.failed if reading.judgement is not None else None
        for name in ("low", "high", "limit") if reading.judgement is not None else ():
            yield f"{head}:{name}", getattr(reading.judgement, name)
        yield from _guard_facts(head, reading.judgement)


def _step_facts(case: str, step: Execution) -> Iterator[tuple[str, Any]]:
    for limit in step.not_judged:
        if limit.unmeasured or whole.is_left_out(step, limit):
            word = "not judged" if limit.unmeasured else "left out"
            yield f"{case}:{limit.name}:{word}", limit.reason
    for reading in step.readings:
        head = f"{case}:{reading.name}"
        yield head, reading.value
        yield f"{head}:unit", reading.unit or None
        yield f"{head}:raw", None if reading.raw is None else hex_text(reading.raw, VALUE_LIMIT // 3)
        for part, names in ((reading.samples, _SAMPLES), (reading.judgement, _LIMITS)):
            for name in names if part is not None else ():
                yield f"{head}:{name}", getattr(part, name)
        yield from _guard_facts(head, reading.judgement)


def _guard_facts(head: str, judgement: Judgement | None) -> Iterator[tuple[str, Any]]:
    for name, value in explain.guarded(judgement).items():
        yield f"{head}:{name}", value


_SAMPLES = ("count", "minimum", "maximum", "mean", "sd", "outside")
_LIMITS = ("passed", "low", "high", "limit", "margin", "confidence", "at_least", "at_most")

REPORT = Report(
    name="junit",
    suffix=".xml",
    option="--junit",
    help="Also write the JUnit report to this file.",
    render=junit_xml,
    begins=b"<testsuite",
    dialects={"junit-10": junit_xml, "ant": partial(junit_xml, dialect="ant")},
    join=joined_suites,
)
