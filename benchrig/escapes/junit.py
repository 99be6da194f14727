"""What a hunt came to as JUnit XML, for build servers: one testcase a fault, valid in the dialect junit-10."""

from __future__ import annotations

from typing import NamedTuple
from xml.etree import ElementTree as ET

from benchrig.escapes.results import Hunted, Outcome, Result
from benchrig.escapes.telling import sentence, summary
from benchrig.text.escape import plain

SENTENCE = 2000


class _Kind(NamedTuple):
    tag: str  # '' for a testcase that passed
    counted: str


_KINDS: dict[Outcome, _Kind] = {
    "caught": _Kind("", ""),
    "harmless": _Kind("", ""),
    "left": _Kind("", ""),
    "escaped": _Kind("failure", "failures"),
    "by luck": _Kind("failure", "failures"),
    "blamed wrongly": _Kind("failure", "failures"),
    "failed": _Kind("error", "errors"),
    "argued": _Kind("skipped", "skipped"),
    "not applicable": _Kind("skipped", "skipped"),
}


def junit_xml(hunted: Hunted) -> bytes:
    """UTF-8 with its declaration. What was interrupted has an error of its own: half a hunt must not look like a whole one."""
    name = _text(hunted.plan) or "plan"
    root = ET.Element("testsuites")
    suite = ET.SubElement(root, "testsuite", _attributes(hunted, f"escapes of {name}"))
    properties = ET.SubElement(suite, "properties")
    for key, value in _facts(hunted):
        ET.SubElement(properties, "property", name=key, value=_text(value))
    for result in hunted.results:
        _testcase(suite, result, name)
    if hunted.interrupted:
        case = ET.SubElement(suite, "testcase", name="interrupted", classname=name, time="0.000")
        ET.SubElement(case, "error", type="operator", message=_left(hunted)).text = _left(hunted)
    ET.SubElement(suite, "system-out").text = "\n".join(
        _text(line) for line in (summary(hunted), *hunted.stale, *hunted.notes)
    )
    ET.SubElement(suite, "system-err").text = ""
    ET.indent(root)
    data: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


def _attributes(hunted: Hunted, name: str) -> dict[str, str]:
    counts = dict.fromkeys(("failures", "errors", "skipped"), 0)
    for result in hunted.results:
        if counted := _KINDS[result.outcome].counted:
            counts[counted] += 1
    counts["errors"] += hunted.interrupted
    seconds = sum(each.elapsed for result in hunted.results for each in result.trials)
    tests = len(hunted.results) + hunted.interrupted
    return {
        "name": name,
        "tests": str(tests),
        **{key: str(count) for key, count in counts.items()},
        "time": f"{seconds:.3f}",
    }


def _testcase(suite: ET.Element, result: Result, plan: str) -> None:
    seconds = sum(each.elapsed for each in result.trials)
    case = ET.SubElement(suite, "testcase", name=_text(result.fault.name),
                         classname=f"{plan}.{result.fault.family}", time=f"{seconds:.3f}")  # fmt: skip
    told = f"{result.outcome}: {_text(sentence(result))}"
    if (tag := _KINDS[result.outcome].tag) == "skipped":
        ET.SubElement(case, tag, message=told)
    elif tag:
        ET.SubElement(
            case, tag, type=result.outcome, message=told
        ).text = f"{result.fault.weight}: {_text(result.fault.says)}"
    else:
        ET.SubElement(case, "system-out").text = told


def _facts(hunted: Hunted) -> list[tuple[str, str]]:
    facts = [
        (name, str(getattr(hunted, name)))
        for name in ("plan", "plan_file", "plan_hash", "revision", "device", "device_hash")
    ]
    if (limits := hunted.limit_set) is not None:
        facts += [("limit_set", f"{limits.name}, version {limits.version}"), ("limit_set_hash", limits.sha256)]
    facts += [("device_files", ", ".join(hunted.device_files)), ("seeds", ", ".join(map(str, hunted.seeds)))]
    facts += [(f"version:{name}", value) for name, value in hunted.versions.items()]
    return [*facts, *((f"count:{outcome}", str(count)) for outcome, count in sorted(hunted.counts.items()))]


def _left(hunted: Hunted) -> str:
    return f"interrupted: {len(hunted.results)} of {hunted.asked} faults were tried"


def _text(text: str) -> str:
    return plain(text, SENTENCE)
