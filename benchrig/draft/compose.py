"""The drafted plan: head, selection, names, and the steps in the order of the table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from benchrig.desk.protection import Protection
from benchrig.draft.access import access_step
from benchrig.draft.advertised import scan_limits, scan_seconds
from benchrig.draft.attributes import AttributeEvidence, subjects
from benchrig.draft.evidence import Evidence, Snapshot
from benchrig.draft.naming import Naming
from benchrig.draft.pairing import pairing_step, refusal_steps
from benchrig.draft.selecting import pick, title
from benchrig.draft.streams import counting, stream_limits, time_text
from benchrig.draft.table import expected_table
from benchrig.plan.wording import spec_data
from benchrig.plan.writing import PlanText, StepText
from benchrig.propose.proposal import Basis, Grounds, Proposal
from benchrig.propose.value import size_limit, value_limits
from benchrig.radio.scan import Selection
from benchrig.source.problem import counted
from benchrig.source.writing import Bare, decimal_text
from benchrig.steps.attribute import AttributeSpec, Names
from benchrig.version import __version__

# A connection or a read may take this many times what it took, and this many seconds in any case.
TIME_ROOM = 3
LEAST_CONNECT = LEAST_READ = 1.0
EVENTS_WAITED = 2
# A connection request gets no answer, and one that is lost is sent again: a good unit may need so many more.
LOST_REQUESTS = 1
_NOTICE = (
    "A draft is what was seen, not what was specified: go through it, and put in the limits that the product has.",
    "Limits marked 'guess' rest on one unit, or are as wide as was chosen, because too little was seen.",
    "Only the descriptors that turn notifications on were written: no write is tested.",
    "Not judged: the appearance in the advertising, services beside those listed where the table allows them, and what a device does later.",
)
_WRITTEN = "Some attributes were written with the value that they had: those under writes. No other write is tested."


@dataclass
class Draft:
    """The text of a plan, how many of its limits are guesses, the units it comes from, and what the person must know
    of them and of the devices around them; '' for nothing."""

    text: str
    guesses: int
    units: list[str]
    warning: str = ""


def compose(evidence: Evidence, known: Names, basis: Basis, chosen: Selection | None = None) -> Draft:
    """The draft from what was seen. `known` are the names of a plan at hand; `chosen` is how the units were selected."""
    naming, _, writer = _written(evidence, known, basis)
    picked = pick(evidence, chosen)
    plan = PlanText(
        title(evidence),
        picked.selection,
        naming.aliases,
        writer.steps,
        head=_head(evidence, basis),
        reasons=filter(None, (picked.reason, *picked.warnings)),
        foot=writer.remarks,
    )
    warnings = [*evidence.doubts]
    if evidence.left_out:
        count = counted(len(evidence.left_out), "attribute")
        warnings.append(f"the link was lost with {count}, which the plan leaves out: see its end")
    warnings += [". ".join(picked.warnings)] if picked.warnings else []
    return Draft(plan.text, writer.guesses, evidence.units, "; ".join(warnings))


@dataclass(frozen=True)
class Drafted:
    """The steps of a draft, the names that it has to define for them, and the attributes that they are about."""

    steps: list[StepText]
    aliases: Mapping[str, AttributeSpec]
    subjects: list[AttributeEvidence]


def drafted(evidence: Evidence, known: Names, basis: Basis) -> Drafted:
    """What a draft consists of, for a plan that there is already."""
    naming, everyone, writer = _written(evidence, known, basis)
    return Drafted(writer.steps, naming.aliases, everyone)


def _written(evidence: Evidence, known: Names, basis: Basis) -> tuple[Naming, list[AttributeEvidence], _Writer]:
    naming, everyone = subjects(evidence, known)
    writer = _Writer(evidence, basis)
    writer.begin(naming)
    for attribute in everyone:
        writer.about(attribute)
    writer.add(StepText("disconnect"), _disconnect_limits(evidence))
    if evidence.protection is not None:
        writer.access(evidence.protection, naming)
    return naming, everyone, writer


def _head(evidence: Evidence, basis: Basis) -> Iterator[str]:
    told = " on a virtual radio: SIMULATED" if evidence.simulated else ""
    yield f"Drafted by benchrig {__version__} from {counted(len(evidence.units), 'unit')}{told}:"
    yield from (f"  {source}" for source in evidence.sources)
    yield from (*evidence.doubts, *_notice(evidence))
    yield f"Limits from statistics are two-sided tolerance intervals: {basis.words()}."


def _notice(evidence: Evidence) -> Iterator[str]:
    found = evidence.protection.measured if evidence.protection is not None else []
    first, second, third, last = _NOTICE
    yield from (first, second)
    yield _WRITTEN if any(each.operation == "write" for each in found) else third
    yield last


@dataclass
class _Writer:
    """Puts the steps together. `remarks` say why attributes have none."""

    evidence: Evidence
    basis: Basis
    steps: list[StepText] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    guesses: int = 0

    def add(self, step: StepText, limits: Mapping[str, Proposal]) -> None:
        """With the limits on readings that the radio has."""
        for name, proposal in limits.items():
            if f"{step.verb}.{name}" not in self.evidence.lacks:
                step.hold(name, proposal.limit, proposal.sentence)
                self.guesses += proposal.guess
        self.steps.append(step)

    def begin(self, naming: Naming) -> None:
        """Scan, connect, and the table."""
        evidence = self.evidence
        self.add(StepText("scan", None, {"for": Bare(f"{scan_seconds(evidence)} s")}), scan_limits(evidence, naming))
        looks = [look for look in evidence.looks if look.connect is not None]
        needed = max((look.attempts or 1 for look in looks), default=1)
        attempts = {"attempts": Bare(f"{needed + LOST_REQUESTS + 1}")}
        self.add(StepText("connect", None, attempts), _connect_limits(looks) if looks else {})
        if evidence.protection is not None and (capability := evidence.protection.capability) is not None:
            # no bond: what tries the access to attributes begins without one
            self.add(*pairing_step(capability, evidence))
        if evidence.looks and (table := expected_table(evidence, naming)).expect:
            self.steps.append(table)

    def about(self, attribute: AttributeEvidence) -> None:
        """The steps about one attribute, or remarks on why there is none."""
        if attribute.absent:
            self._remark(attribute, f"not on {', '.join(attribute.absent)}, so it is left out")
            return
        if attribute.unread:
            self._remark(attribute, f"{attribute.unread[0]}: no step reads it")
        elif attribute.reads or attribute.refusals:
            self._read(attribute)
        if attribute.place in self.evidence.silent:
            self._remark(attribute, self.evidence.silent[attribute.place])
        if attribute.streams:
            self._notify(attribute)

    def access(self, found: Protection, naming: Naming) -> None:
        """What the first unit asks for before its attributes may be used."""
        if found.broken:
            self.remarks.append(f"access: {found.broken}; no step tries what is allowed")
        elif found.measured:
            self.add(*access_step(found, naming))
        for step, limits in refusal_steps(found):
            self.add(step, limits)

    def _remark(self, attribute: AttributeEvidence, sentence: str) -> None:
        self.remarks.append(f"{attribute.name}: {sentence}")

    def _read(self, attribute: AttributeEvidence) -> None:
        step = StepText("read", attribute.name, _format(attribute), _reading(attribute))
        if not attribute.refusals:
            limits = _read_limits(attribute, self.basis)
            if all(p.limit is None for p in limits.values()) and any(
                data for each in attribute.reads.values() for data in each
            ):
                limits["length"] = size_limit(attribute.reads)
            self.add(step, limits | _read_time(attribute))
            return
        refusals = [name for each in attribute.refusals.values() for name in each]
        if attribute.reads or len(set(refusals)) > 1:
            self._remark(attribute, f"answered with {', '.join(sorted(set(refusals)))} at times; no step reads it")
            return
        reason = f"all {counted(len(refusals), 'read')} were refused so"
        self.add(step, {"att_error": Proposal({"equals": refusals[0]}, reason, Grounds(len(attribute.refusals)))})

    def _notify(self, attribute: AttributeEvidence) -> None:
        counts = [stream.count for stream in attribute.streams]
        longest = max(stream.seconds for stream in attribute.streams)
        seconds = Bare(f"{decimal_text(Fraction(f'{longest:.3f}'))} s")
        if min(counts) == 0:
            often = "sent nothing" if max(counts) == 0 else f"sent 0 to {max(counts)} values"
            self._remark(attribute, f"{often} in {counted(len(counts), 'subscription')} of {seconds}")
            return
        keys = {"for": seconds, **_format(attribute)}
        if name := counting(attribute):
            keys["counter"] = name
        step = StepText("notify", attribute.name, keys, _reading(attribute))
        self.add(step, stream_limits(attribute, self.basis))


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


def _disconnect_limits(evidence: Evidence) -> dict[str, Proposal]:
    """Where a unit sends without being asked, nothing is said."""
    if not evidence.unasked or any(evidence.unasked):
        return {}
    reason = f"nothing was sent without a subscription in {counted(len(evidence.unasked), 'connection')}"
    return {"unasked": Proposal({"equals": Bare("0")}, reason, Grounds(len(evidence.units)))}


def _read_time(attribute: AttributeEvidence) -> dict[str, Proposal]:
    if not attribute.took:
        return {}
    longest = max(attribute.took)
    reason = f"the longest of {counted(len(attribute.took), 'read')} took {time_text(longest)}"
    limit = {"max": time_text(max(LEAST_READ, TIME_ROOM * longest))}
    return {"elapsed": Proposal(limit, reason, Grounds(len(attribute.reads), shown=False))}


def _read_limits(attribute: AttributeEvidence, basis: Basis) -> dict[str, Proposal]:
    """A structure that describes another value is compared as bytes."""
    if attribute.is_descriptor and attribute.form is not None and attribute.form.kind == "struct":
        return {"raw": value_limits(None, attribute.reads, basis, uuid=attribute.uuid)["value"]}
    return value_limits(attribute.form, attribute.values(), basis, uuid=attribute.uuid, setting=attribute.is_setting)


def _format(attribute: AttributeEvidence) -> dict[str, Any]:
    return {"format": spec_data(attribute.own)} if attribute.own else {}


def _reading(attribute: AttributeEvidence) -> list[str]:
    """Why its bytes are read so."""
    if attribute.is_text:
        return ["guess: text (utf8), for all its bytes are printable"]
    return [f"read as bytes, for they do not fit the format: {attribute.misfit}"] if attribute.misfit else []
