"""An ATT error as a reading: a plan that expects a refusal judges it, any other fails by it."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.errors import AttError, PropertyMissing, UsageError
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName
from benchrig.steps.base import ReadingType, Step
from benchrig.steps.bench import Bench, Target
from benchrig.values import catalogue

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
    """The attribute that a request goes to. Without the property nothing is sent: a plan that expects a refusal is told
    so, for the unit refused nothing."""
    try:
        return bench.target(name, needs)
    except PropertyMissing as error:
        limit = step.limits.get("att_error")
        if limit is None or limit.bind("text").passes(NONE):
            raise
        raise UsageError(
            f"the plan expects an ATT error, but nothing was sent: {error.message}",
            advice="judge the properties with a discover step",
        ) from error


def unanswered(step: Step) -> Iterator[Misfit]:
    """Where a write without response is judged by an answer that never comes."""
    for key, names in (("expect", step.expect), ("save", step.save)):
        if "att_error" in names:
            yield Misfit("a write without response has no answer, so no att_error", path=(key, "att_error"))


def is_withheld(bench: Bench) -> bool:
    """Whether the radio would not pass the refusal on that the plan expects: the request is left out then. (Linux takes
    some as a wish to pair, and never answers.)"""
    why = bench.lacks("att_error") if bench.wanted("att_error") else ""
    bench.not_measured("reached_after", why) if why else None
    return bool(why)


class answered:  # reads as the phrase that it stands in
    """Around a request: reports `att_error` where the plan names it. Without a limit on it the error is let through; with
    one `refused` says after the context that the device answered with an ATT error."""

    def __init__(self, bench: Bench, step: Step) -> None:
        self.refused = False
        self._bench, self._step = bench, step

    def __enter__(self) -> answered:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> bool:
        if error is not None and not isinstance(error, AttError):
            return False
        if self._bench.wanted("att_error"):
            self._bench.reading("att_error", NONE if error is None else error.name)
        self.refused = error is not None and "att_error" in {*self._step.limits, *getattr(self._step, "until", ())}
        return self.refused
