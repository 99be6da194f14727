"""Steps about the link: it lasts, it can be made again, the unit is back on the air, and does not go silent."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import A_COUNT, A_TIME, Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import StepText
from benchrig.source.writing import Bare

# Longer than the supervision of a link, and than most time-outs of a firmware.
_LASTS = "20 s"
_AGAIN = 3


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    waits = StepText("wait", Bare(_LASTS), {"name": f"the link lasts {_LASTS}"})
    waits.hold("elapsed", {"min": Bare(_LASTS)})
    yield Candidate("link", f"the link lasts {_LASTS}", "a link that ends on its own is not noticed", [waits])
    yield Candidate(
        "link", "a second connection", "one connection shows nothing of the next", _again("a second connection")
    )
    many = StepText(
        "repeat", _AGAIN, {"name": "connections in a row"}, parts={"steps": _again("one of several connections")}
    )
    yield Candidate("link", "connections in a row", "what gets slower with each connection is not noticed", [many])
    quiet = StepText("scan", None, {"name": "silent while connected", "for": Bare("3 s")})
    quiet.hold("heard", {"equals": False})
    yield Candidate("link", "silent while connected", "nothing listens while the link is up", [quiet])


def _again(name: str) -> list[StepText]:
    left = StepText("disconnect", None, {"name": f"before {name}"})
    left.hold("advertises_after", A_TIME)
    made = StepText("connect", None, {"name": name, "attempts": 3})
    made.hold("elapsed", A_TIME)
    made.hold("attempts", A_COUNT)
    return [left, made]
