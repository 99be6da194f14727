"""Steps that a draft of the sound device has and the plan lacks: reads, streams, the table, what needs security."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import Candidate, Key, Limits
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.tree import StepPlan
from benchrig.plan.writing import Rows, StepText
from benchrig.source.nodes import locate
from benchrig.source.yaml import Mapping as MappingNode

_WHY = {
    "read": "nothing in the plan holds all that this value may be",
    "notify": "what it sends on its own is not judged",
    "discover": "what the table has too much, or lacks, is not judged",
    "access": "what a link without security may do is not tried",
    "scan": "what it advertises is not judged",
    "connect": "how it takes a connection is not judged",
}


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    alone = map(_without_reasons, attributes.steps(attributes.found))
    known = {step.title for step in alone if ground.has(step)}  # a draft of one unit is stricter
    for step in attributes.steps():
        if step.verb in ("scan", "connect"):
            yield from _on_first(ground, step)
        elif step.verb == "discover":
            yield from _table(ground, attributes)
        elif step.verb in ("read", "notify", "access") and step.expect:
            reasons = {reading: _short(why) for reading, why in step.reasons.items()}
            shown = _without_reasons(step)
            if ground.has(shown) or shown.title in known:
                continue
            why = reasons.get("value") or _WHY[step.verb]
            yield Candidate("step", shown.title, why, [shown], early=step.verb != "access")


def _without_reasons(step: StepText) -> StepText:
    return StepText(step.verb, step.subject, step.keys, [], step.expect, {}, step.parts)


def _table(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """The whole table: in a step of its own, or in the one that the plan has."""
    table = Rows({service: dict(rows) for service, rows in attributes.table().items()})
    own = next((each for each in ground.plan.steps if each.kind.verb == "discover" and each.id in ground.written), None)
    why = "services and characteristics that nobody lists are left alone"
    if own is not None and (more := _more_rows(ground, own, table)):
        at = ground.written[own.id]
        title = f"the whole table in '{own.name}'"
        keys = [Key(own.id, "table", (*at, "expect", "table"), service, rows) for service, rows in more.items()]
        yield Candidate("table", title, why, keys=[*keys, Key(own.id, "table", at, "extra", "forbidden")])
    step = StepText("discover", None, {"name": "the whole table", "extra": "forbidden"})
    step.hold("table", table)
    yield Candidate("table", "the whole table", why, [step])


def _more_rows(ground: Ground, own: StepPlan, table: Mapping[str, Any]) -> dict[str, Any]:
    """The services that the step of the plan does not list; {} where it is about no table, or has what this cannot add to."""
    written = locate(own.node, ("expect", "table"))
    if not isinstance(written, MappingNode) or own.step is None:
        return {}
    known = {
        ground.plan.names.service(str(key).partition("[")[0]) for key in written.entries
    }  # 'battery[1]' is a second one
    return {
        service: rows
        for service, rows in table.items()
        if ground.plan.names.service(service.partition("[")[0]) not in known
    }


def _on_first(ground: Ground, step: StepText) -> Iterator[Candidate]:
    """Its limits on the step of that kind that the plan has."""
    own = next((each for each in ground.plan.steps if each.kind.verb == step.verb and each.id in ground.written), None)
    if own is None:
        return
    for reading, limit in step.expect.items():
        if reading not in own.limit_names:
            title = f"a limit on {reading} of '{own.name}'"
            why = _short(step.reasons.get(reading, "")) or _WHY[step.verb]
            yield Candidate("limit", title, why, limits=[Limits(own.id, ground.written[own.id], {reading: limit})])


def _short(reason: str) -> str:
    return reason.removeprefix("guess: ")
