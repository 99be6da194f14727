"""Commands that the plan knows, looked at more closely: the answer, and that it comes once."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import A_COUNT, SOME_BYTES, Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import StepText
from benchrig.source.shape import as_written
from benchrig.source.writing import Bare, Quoted

# A second answer comes at once, or not at all.
_LISTENS = Bare("500 ms")


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    for step in ground.plan.steps:
        if step.kind.verb == "exchange" and step.step is not None and "att_error" not in step.limit_names:
            keys = as_written(step.node)
            subject = keys.pop("exchange")
            raw = keys.get("raw")
            if raw is not None and not step.part:
                yield _once(str(subject), str(raw), keys.get("reply"))


def _once(command: str, raw: str, reply: str | None) -> Candidate:
    write = StepText("write", command, {"name": f"{command} asked once", "raw": Quoted(raw)})
    listening = StepText("listen", {reply or command: {}}, {"name": f"{command} answers"})
    listening.parts = {"steps": [write, StepText("wait", _LISTENS, {"name": f"{command} may answer again"})]}
    listening.hold(f"{reply or command}.count", A_COUNT)
    listening.hold(f"{reply or command}.value", SOME_BYTES)
    return Candidate("exchange", f"{command} answers once", "a second answer passes", [listening])
