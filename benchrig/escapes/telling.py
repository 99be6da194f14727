"""What a fault came to, in words: the same in the terminal, in JUnit and on a page."""

from __future__ import annotations

from benchrig.escapes.results import Catch, Hunted, Result
from benchrig.source.problem import counted


def step_words(catch: Catch) -> str:
    """'step 4 read battery level, value'."""
    step = f"step {catch.node} {catch.step}" if catch.node else "the run as a whole"
    return f"{step}, {catch.reading}" if catch.reading else step


def told_by(catch: Catch) -> str:
    """The limit; where no limit did, the cause that the step ended with."""
    return catch.reading or f"cause {catch.cause}"


def sentence(result: Result) -> str:
    """What it came to, without what the fault is."""
    by, argument = result.by, result.argument
    if result.outcome == "by luck":
        passed = ", ".join(map(str, result.passed_with))
        return f"passes with seed {passed}, of {counted(len(result.trials), 'seed')}"
    if argument is not None:
        who = f" ({argument.by}, {argument.date})" if argument.by else " (rule)"
        left = f"left to {argument.left_to}, which catches it: " if argument.left_to else ""
        return f"{left}{argument.why}{who}"
    if result.outcome == "blamed wrongly" and by is not None:
        right = " or ".join(result.fault.causes)
        return f"{step_words(by)}: cause {by.cause}, expected {right}: {by.message}"
    if by is not None:
        return f"{step_words(by)}: {by.message}"
    return result.reason or {"escaped": "the plan passes it", "harmless": "the unit is sound, a pass is right"}.get(
        result.outcome, result.outcome
    )


def share_words(hunted: Hunted) -> str:
    """'83 of 156 faults caught, 53.2 %'. Never rounded up to all of them."""
    caught, judged = hunted.counts["caught"], hunted.judged
    if not judged:
        return "no fault to judge"
    tenths = caught * 1000 // judged
    return f"{caught} of {counted(judged, 'fault')} caught, {tenths / 10:g} %"


def summary(hunted: Hunted) -> str:
    """One line."""
    counts = hunted.counts
    words = {"escaped": "escaped", "by luck": "caught by luck", "blamed wrongly": "blamed wrongly", "failed": "not tried",
             "left": "left to another plan", "argued": "argued", "harmless": "harmless", "not applicable": "not applicable"}  # fmt: skip
    parts = [f"{counts[outcome]} {said}" for outcome, said in words.items() if counts[outcome]]  # type: ignore[index]
    return "; ".join([share_words(hunted), *parts])
