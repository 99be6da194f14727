"""An ATT error as a reading: a plan that expects a refusal judges it, any other fails by it."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.errors import AttError
from benchrig.radio.offers import NOT_SENT
from benchrig.radio.table import offers
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName
from benchrig.steps.base import Bindable, ReadingType, Step
from benchrig.steps.bench import Bench, Target
from benchrig.values import catalogue
from benchrig.values.judging import accepted

NONE = "none"


def _no_att_error(name: str) -> tuple[str, str] | None:
    """What is wrong with the name of an ATT error."""
    if name == NONE:
        return None
    try:
        known = catalogue.att_error_name(catalogue.att_error_code(name))
    except Misfit as misfit:
        return f"unknown ATT error '{name}'", misfit.advice
    return None if known == name else (f"the ATT error '{name}' is reported by its name", f"write '{known}'")


ATT_ERROR = ReadingType(
    "text", "", f"name of the ATT error the device answered with; '{NONE}' when there was none", wrong=_no_att_error
)


def request_target(bench: Bench, step: Step, name: AttributeName, needs: tuple[str, ...]) -> Target:
    """The attribute that a request goes to. One without the property gets none: PropertyMissing; but where the plan
    expects a refusal it is for the unit to refuse."""
    return bench.target(name, () if may_be_refused(step.limits.get("att_error")) else needs)


def may_be_refused(limit: Bindable | None) -> bool:
    """Whether an ATT error can satisfy the limit."""
    if limit is None:
        return False
    bound = limit.bind("text")
    return any(bound.passes(catalogue.att_error_name(code)) for code in range(1, 0x100))


def unanswered(step: Step) -> Iterator[Misfit]:
    """Where a write without response is judged by an answer that never comes."""
    for key, names in (("expect", step.expect), ("save", step.save)):
        if "att_error" in names:
            yield Misfit("a write without response has no answer, so no att_error", path=(key, "att_error"))


def is_withheld(bench: Bench, target: Target, needs: tuple[str, ...]) -> bool:
    """Whether the radio would not pass the refusal on that the plan expects: the request is left out then. (Linux takes
    some as a wish to pair, and never answers; other systems may not send what the table does not offer.)"""
    why = bench.lacks("att_error") if bench.wanted("att_error") else ""
    if not (why or bench.device.radio.sends_unoffered or offers(target.found.attribute, needs)):
        why = NOT_SENT
    if why:
        bench.not_measured("att_error", why)
        bench.not_measured("reached_after", why)
    return bool(why)


class answered:  # reads as the phrase that it stands in
    """Around a request: reports `att_error` where the plan names it. Without a limit on it the error is let through; with
    one `refused` says after the context that the device answered with an ATT error. `sent` is what a write sends."""

    def __init__(self, bench: Bench, step: Step, sent: bytes | None = None) -> None:
        self.refused = False
        self._bench, self._step, self._sent = bench, step, sent

    def __enter__(self) -> answered:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> bool:
        if error is not None and not isinstance(error, AttError):
            return False
        if self._bench.wanted("att_error"):
            if error is None:
                self._bench.reading("att_error", NONE, telling=self._accepted)
            else:
                self._bench.reading("att_error", error.name)
        self.refused = error is not None and "att_error" in {*self._step.limits, *getattr(self._step, "until", ())}
        return self.refused

    def _accepted(self, sentence: str) -> str:
        return sentence if self._sent is None else f"{accepted(self._sent)}: the ATT error {sentence}"
