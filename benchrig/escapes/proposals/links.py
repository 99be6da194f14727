"""Steps about the link: it lasts, it can be made again, the unit is back on the air, and does not go silent."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import A_COUNT, A_TIME, POWER, Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import StepText
from benchrig.source.writing import Bare

# Longer than the supervision of a link, and than most time-outs of a firmware.
_LASTS = "20 s"
# So many connections show what a device loses with each; of those the first attempt may be lost on the air now and then.
_AGAIN, _ATTEMPTS = 8, Bare("1.3")
# As many requests as a phone makes in a while.
_REQUESTS = 40


def lasting(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """They come before all that makes more links: what is wrong with the second one alone is gone with that."""
    waits = _lasts(_LASTS, "the link")
    yield Candidate("link", f"the link lasts {_LASTS}", "a link that ends on its own is not noticed", [waits])
    second = [*_again("a connection that lasts"), _lasts("3 s", "the second link")]
    yield Candidate("link", "a second link that lasts", "one connection shows nothing of the next", second)


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    yield from _requests(attributes)
    yield from _power(attributes)
    yield Candidate(
        "link", "a second connection", "one connection shows nothing of the next", _again("a second connection")
    )
    yield from _in_a_row()
    quiet = StepText("scan", None, {"name": "silent while connected", "for": Bare("3 s")})
    quiet.hold("heard", {"equals": False})
    yield Candidate("link", "silent while connected", "nothing listens while the link is up", [quiet])


def _in_a_row() -> Iterator[Candidate]:
    inner = "one of several connections"
    many = StepText("repeat", Bare(str(_AGAIN)), {"name": "connections in a row"}, parts={"steps": _again(inner)})
    many.hold(f"{inner}.attempts.mean", {"max": _ATTEMPTS})
    why = "what a device loses with each connection, or refuses now and then, is not noticed"
    yield Candidate("link", "connections in a row", why, [many])


def _lasts(seconds: str, what: str) -> StepText:
    waits = StepText("wait", Bare(seconds), {"name": f"{what} lasts {seconds}"})
    waits.hold("elapsed", {"min": Bare(seconds)})
    return waits


def _requests(attributes: Attributes) -> Iterator[Candidate]:
    """Many requests on one link, from its first on: what a device does at one of them alone."""
    subject = next((each for each in attributes.subjects if each.seen.reads), None)
    if subject is not None:
        inner = StepText("read", subject.name, {"name": "one of many requests"})
        inner.hold("elapsed", A_TIME)
        many = StepText("repeat", Bare(str(_REQUESTS)), {"name": "many requests"}, parts={"steps": [inner]})
        steps = [*_again("a link for many requests"), many]
        yield Candidate("link", "many requests", "a few requests show nothing of those that follow", steps)


def _power(attributes: Attributes) -> Iterator[Candidate]:
    constant = [each for each in attributes.subjects if each.value is not None]
    steps = [StepText("power", "cycle", {"name": "without power"}), *_again("after a power failure")[1:]]
    for subject in constant:
        steps.append(subject.reading(f"{subject.seen.name} after a power failure, as it was", subject.value or b""))
    if constant:
        why = "what is lost without power is not noticed"
        yield Candidate("link", "the unit after a power failure", why, steps, needs=POWER)


def _again(name: str) -> list[StepText]:
    left = StepText("disconnect", None, {"name": f"before {name}"})
    left.hold("advertises_after", A_TIME)
    made = StepText("connect", None, {"name": name, "attempts": 3})
    made.hold("elapsed", A_TIME)
    made.hold("attempts", A_COUNT)
    return [left, made]
