"""Commands: those that the plan knows, and those of the device file: the answer, that it comes once, what it changes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from benchrig.escapes.proposals.attributes import Attributes, Subject
from benchrig.escapes.proposals.candidate import A_COUNT, A_TIME, CONSOLE, SOME_BYTES, SOME_TEXT, Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import StepText
from benchrig.radio.virtual.behaviours import Disconnect, Reboot, Sleep
from benchrig.radio.virtual.gatt_spec import PROPERTIES
from benchrig.radio.virtual.reaction_spec import CaseSpec, DoingSpec
from benchrig.source.nodes import as_written
from benchrig.source.writing import Bare, Quoted

_LITERAL = re.compile(r"[\w ]+")
# A second answer comes at once, or not at all.
_LISTENS = Bare("500 ms")
# What a command sets going may take as long as this.
_CHANGES = Bare("5 s")
# Of a command that takes more than its first bytes; one that no device knows.
_MORE, _UNKNOWN = b"AB", b"\xfe"


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    for step in ground.plan.steps:
        if step.kind.verb == "exchange" and step.step is not None and "att_error" not in step.limit_names:
            keys = as_written(step.node)
            subject = keys.pop("exchange")
            raw = keys.get("raw")
            if raw is not None and not step.part:
                yield _once(str(subject), str(raw), keys.get("reply"))
    subjects = {each.spec.called: each for each in attributes.subjects if each.spec is not None}
    for each in subjects.values():
        yield from _commands(each, subjects)
    for line in ground.unit.console:
        if line.matches is not None and _LITERAL.fullmatch(str(line.matches)) and line.print:
            yield _console(str(line.matches))


def _commands(subject: Subject, subjects: Mapping[str, Subject]) -> Iterator[Candidate]:
    """An example of each command that the device file knows, with all that it brings and changes."""
    spec = subject.spec
    if spec is None or not spec.property_bits & PROPERTIES["write"]:
        return
    doings = [spec.on_write, *spec.on_write.cases]
    replies = dict.fromkeys(subjects[name.partition(".")[0]] for doing in doings for name in doing.notify)
    for doing in doings if replies else ():
        if data := _example(subject, doing):
            yield _command(subject, data, list(replies))
            if doing.notify:
                yield _answer(subject, data, subjects[next(iter(doing.notify)).partition(".")[0]])


def _example(subject: Subject, doing: DoingSpec) -> bytes:
    """What sets it off; nothing where it ends the link, or does nothing."""
    ends = any(
        isinstance(each, (Reboot, Sleep, Disconnect)) for one in (doing, *doing.following) for each in one.behaviours
    )
    if ends or not (doing.notify or doing.set):
        return b""
    if isinstance(doing, CaseSpec) and doing.starts_with:
        return bytes(doing.starts_with)
    if isinstance(doing, CaseSpec) and doing.matches is not None:
        begins = re.match(r"([0-9A-F]{2})+", str(doing.matches))
        return bytes.fromhex(begins[0]) + _MORE if begins else b""
    return subject.example() if not isinstance(doing, CaseSpec) else _UNKNOWN


def _command(subject: Subject, data: bytes, replies: Sequence[Subject]) -> Candidate:
    """Asked twice, for what is right once only; what can be read of what answers is read after it."""
    raw = data.hex(" ").upper()
    called = f"{subject.seen.name} {raw}"
    steps = [
        step
        for often in ("once", "twice")
        for step in (
            StepText("write", subject.name, {"name": f"{called} {often}", "raw": Quoted(raw)}),
            StepText("wait", _CHANGES, {"name": f"what follows {called} {often}"}),
        )
    ]
    streams = {each.name: {"format": {"as": "hex"}} for each in replies}
    listening = StepText("listen", streams, {"name": f"what {called} brings"}, parts={"steps": steps})
    after = []
    for each in replies:
        listening.hold(f"{each.name}.count", A_COUNT)
        listening.hold(f"{each.name}.value", SOME_BYTES)
        if each.seen.reads:
            after.append(StepText("read", each.name, {"name": f"{each.seen.name} after {called}"}))
            after[-1].hold("raw", SOME_BYTES)
    why = "a wrong answer, a second one or none passes"
    return Candidate("exchange", f"what {called} brings", why, [listening, *after])


def _answer(subject: Subject, data: bytes, reply: Subject) -> Candidate:
    raw = data.hex(" ").upper()
    keys = {"name": f"{subject.seen.name} answers {raw}", "raw": Quoted(raw), "format": {"as": "hex"}}
    step = StepText("exchange", subject.name, keys | ({} if reply is subject else {"reply": reply.name}))
    step.hold("value", SOME_BYTES)
    step.hold("response_time", A_TIME)
    return Candidate("exchange", f"the answer of {subject.seen.name} to {raw}", "a wrong answer passes", [step])


def _once(command: str, raw: str, reply: str | None) -> Candidate:
    write = StepText("write", command, {"name": f"{command} asked once", "raw": Quoted(raw)})
    listening = StepText("listen", {reply or command: {}}, {"name": f"{command} answers"})
    listening.parts = {"steps": [write, StepText("wait", _LISTENS, {"name": f"{command} may answer again"})]}
    listening.hold(f"{reply or command}.count", A_COUNT)
    listening.hold(f"{reply or command}.value", SOME_BYTES)
    return Candidate("exchange", f"{command} answers once", "a second answer passes", [listening])


def _console(line: str) -> Candidate:
    step = StepText(
        "console", None, {"name": f"console answers {line}", "send": line, "until": {"line": {"matches": ".+"}}}
    )
    step.hold("line", SOME_TEXT)
    why = "nothing asks the console"
    return Candidate("exchange", f"console answers {line}", why, [step], needs=CONSOLE)
