"""The drafted plan: head, selection, names, and the steps in the order of the table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from benchrig import __version__
from benchrig.draft.advertised import scan_limits, scan_seconds
from benchrig.draft.attributes import AttributeEvidence, subjects
from benchrig.draft.evidence import Evidence, Snapshot
from benchrig.draft.naming import Naming
from benchrig.draft.selecting import Picked, pick, title
from benchrig.draft.streams import counting, stream_limits, time_text
from benchrig.draft.table import table_lines
from benchrig.draft.write import block, comment, value
from benchrig.plan.wording import selection_data, spec_data
from benchrig.propose.proposal import Basis, Grounds, Proposal, counted
from benchrig.propose.value import size_limit, value_limits
from benchrig.radio.scan import Selection
from benchrig.source.writing import Bare, decimal_text, flow, scalar
from benchrig.steps.attribute import Names

# A connection or a read may take this many times what it took, and this many seconds in any case.
TIME_ROOM = 3
LEAST_CONNECT = LEAST_READ = 1.0
EVENTS_WAITED = 2
# A connection request gets no answer, and one that is lost is sent again: a good unit may need so many more.
LOST_REQUESTS = 1
_NOTICE = (
    "A draft is what was seen, not what was specified: go through it, and put in the limits that the product has.",
    "Limits marked 'guess' rest on one unit, or are as wide as was chosen, for too little was seen to say.",
    "Nothing was written to the device but the descriptors that subscribing needs: nothing that is written is tested.",
    "Not judged: flags and appearance in the advertising, services beside those listed, and what a device does later.",
)


@dataclass
class Draft:
    """The text of a plan, how many of its limits are guesses, the units it comes from, and what the person must know
    of them and of the devices around them; '' for nothing."""

    text: str
    guesses: int
    units: list[str]
    warning: str = ""


@dataclass
class _Step:
    """One step: its head (`read: temperature`), further keys, limits with their reasons, and remarks before it."""

    head: str
    keys: dict[str, Any] = field(default_factory=dict)
    limits: dict[str, Proposal] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    table: list[str] = field(default_factory=list)

    @property
    def verb(self) -> str:
        return self.head.partition(":")[0]

    @property
    def judged(self) -> list[Proposal]:
        return [proposal for proposal in self.limits.values() if proposal.limit is not None]

    def lines(self) -> Iterator[str]:
        yield from comment(*self.remarks, indent=2)
        yield f"  - {self.head}"
        for key, item in self.keys.items():
            yield f"    {key}: {value(item)}"
        yield from comment(*(f"{name}: {p.sentence}" for name, p in self.limits.items() if p.limit is None), indent=4)
        if self.judged or self.table:
            yield "    expect:"
        for name, proposal in self.limits.items():
            if proposal.limit is not None:
                yield from comment(proposal.sentence, indent=6)
                yield f"      {name}: {value(proposal.limit)}"
        yield from self.table


def compose(evidence: Evidence, known: Names, basis: Basis, chosen: Selection | None = None) -> Draft:
    """The draft from what was seen. `known` are the names of a plan at hand; `chosen` is how the units were selected."""
    naming, everyone = subjects(evidence, known)
    steps = [_scan(evidence, naming), _connect(evidence), *_discover(evidence, naming)]
    after: list[str] = []
    for subject in everyone:
        for made in _about(subject, evidence, basis):
            if isinstance(made, str):
                after.append(f"{subject.name}: {made}")
            else:
                steps.append(made)
    steps.append(_Step("disconnect:"))
    for step in steps:
        step.limits = {name: each for name, each in step.limits.items() if f"{step.verb}.{name}" not in evidence.lacks}
    picked = pick(evidence, chosen)
    lines = [*_head(evidence, naming, basis, picked), "steps:"]
    for step in steps:
        lines += step.lines()
    text = block([*lines, *comment(*after)])
    guesses = sum(proposal.guess for step in steps for proposal in step.judged)
    warnings = [*evidence.doubts, *_left_out(evidence), *filter(None, [picked.warning])]
    return Draft(text, guesses, evidence.units, "; ".join(warnings))


def _left_out(evidence: Evidence) -> Iterator[str]:
    if evidence.left_out:
        count = counted(len(evidence.left_out), "attribute")
        yield f"the link was lost with {count}, which the plan leaves out: see its end"


def _head(evidence: Evidence, naming: Naming, basis: Basis, picked: Picked) -> Iterator[str]:
    told = " on a virtual radio: SIMULATED" if evidence.simulated else ""
    yield from comment(f"Drafted by benchrig {__version__} from {counted(len(evidence.units), 'unit')}{told}:")
    yield from comment(*(f"  {source}" for source in evidence.sources))
    yield from comment(*evidence.doubts, *_NOTICE)
    yield from comment(f"Limits from statistics are two-sided tolerance intervals: {basis.words()}.")
    yield f"plan: {scalar(title(evidence))}"
    yield "device:"
    yield from comment(*filter(None, (picked.reason, *picked.warning.split(". "))), indent=2)
    yield f"  select: {value(selection_data(picked.selection, naming.service))}"
    if naming.aliases:
        yield "  attributes:"
        for alias, spec in naming.aliases.items():
            yield f"    {scalar(alias)}: {flow(spec_data(spec))}"


def _scan(evidence: Evidence, naming: Naming) -> _Step:
    return _Step("scan:", {"for": Bare(f"{scan_seconds(evidence)} s")}, scan_limits(evidence, naming))


def _connect(evidence: Evidence) -> _Step:
    looks = [look for look in evidence.looks if look.connect is not None]
    limits = _connect_limits(looks) if looks else {}
    needed = max((look.attempts or 1 for look in looks), default=1)
    return _Step("connect:", {"attempts": Bare(f"{needed + LOST_REQUESTS + 1}")}, limits)


def _connect_limits(looks: list[Snapshot]) -> dict[str, Proposal]:
    seen = counted(len(looks), "connection")
    chosen = Grounds(len({look.unit for look in looks}), shown=False)
    longest = max(look.connect or 0.0 for look in looks)
    # a connection begins with the next advertising event, and one of them may be missed
    waits = EVENTS_WAITED * max((look.advertising.interval or 0.0 for look in looks if look.advertising), default=0.0)
    limits = {
        "elapsed": Proposal(
            {"max": time_text(max(LEAST_CONNECT, TIME_ROOM * longest) + waits)},
            f"{seen}, the longest took {time_text(longest)}; {TIME_ROOM} times that, and {EVENTS_WAITED} advertising intervals",
            chosen,
        )
    }
    attempts = [look.attempts for look in looks if look.attempts is not None]
    if attempts:
        reason = f"{seen}, {max(attempts)} needed; {LOST_REQUESTS} more, for any request may be lost on the air"
        limits["attempts"] = Proposal({"max": Bare(f"{max(attempts) + LOST_REQUESTS}")}, reason, chosen)
    payloads = [look.payload for look in looks if look.payload is not None]
    if payloads:
        reason = f"{seen}: a packet carried as much; another radio may let it carry less"
        limits["payload"] = Proposal({"min": Bare(f"{min(payloads)} bytes")}, reason, chosen)
    return limits


def _discover(evidence: Evidence, naming: Naming) -> Iterator[_Step]:
    if not evidence.looks:
        return
    step = _Step("discover:")
    complete, step.table, step.remarks = table_lines(evidence, naming)
    if not complete:
        step.keys["extra"] = "allowed"
    if step.table:
        yield step


def _about(subject: AttributeEvidence, evidence: Evidence, basis: Basis) -> Iterator[_Step | str]:
    """The steps about one attribute, and remarks on why there is none."""
    if subject.absent:
        yield f"not on {', '.join(subject.absent)}, so it is left out"
        return
    if subject.unread:
        yield f"{subject.unread[0]}: no step reads it"
    elif subject.reads or subject.refusals:
        yield _read(subject, basis)
    if subject.spot in evidence.silent:
        yield evidence.silent[subject.spot]
    if subject.streams:
        yield _notify(subject, basis)


def _read(subject: AttributeEvidence, basis: Basis) -> _Step | str:
    step = _Step(f"read: {value(subject.name)}", _format(subject), remarks=_misfit(subject))
    if not subject.refusals:
        step.limits = _read_limits(subject, basis)
        if not step.judged and any(data for each in subject.reads.values() for data in each):
            step.limits["length"] = size_limit(subject.reads)
        return replace(step, limits=step.limits | _read_time(subject))
    refusals = [name for each in subject.refusals.values() for name in each]
    if subject.reads or len(set(refusals)) > 1:
        return f"answered with {', '.join(sorted(set(refusals)))} at times; no step reads it"
    reason = f"all {counted(len(refusals), 'read')} were refused so"
    step.limits = {"att_error": Proposal({"equals": refusals[0]}, reason, Grounds(len(subject.refusals)))}
    return step


def _read_time(subject: AttributeEvidence) -> dict[str, Proposal]:
    if not subject.took:
        return {}
    longest = max(subject.took)
    reason = f"the longest of {counted(len(subject.took), 'read')} took {time_text(longest)}"
    limit = {"max": time_text(max(LEAST_READ, TIME_ROOM * longest))}
    return {"elapsed": Proposal(limit, reason, Grounds(len(subject.reads), shown=False))}


def _read_limits(subject: AttributeEvidence, basis: Basis) -> dict[str, Proposal]:
    """A structure that describes another value is compared as bytes."""
    if subject.is_descriptor and subject.form is not None and subject.form.kind == "struct":
        return {"raw": value_limits(None, subject.reads, basis, uuid=subject.uuid)["value"]}
    return value_limits(subject.form, subject.values(), basis, uuid=subject.uuid, setting=subject.is_setting)


def _notify(subject: AttributeEvidence, basis: Basis) -> _Step | str:
    counts = [stream.count for stream in subject.streams]
    longest = max(stream.seconds for stream in subject.streams)
    seconds = Bare(f"{decimal_text(Fraction(f'{longest:.3f}'))} s")
    if min(counts) == 0:
        often = "sent nothing" if max(counts) == 0 else f"sent 0 to {max(counts)} values"
        return f"{often} in {counted(len(counts), 'subscription')} of {seconds}"
    keys = {"for": seconds, **_format(subject)}
    if name := counting(subject):
        keys["counter"] = name
    return _Step(f"notify: {value(subject.name)}", keys, stream_limits(subject, basis), _misfit(subject))


def _format(subject: AttributeEvidence) -> dict[str, Any]:
    return {"format": spec_data(subject.own)} if subject.own else {}


def _misfit(subject: AttributeEvidence) -> list[str]:
    return [f"read as bytes, for they do not fit the format: {subject.misfit}"] if subject.misfit else []
