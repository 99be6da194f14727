"""Scenes for `decide`: slots with their radios, devices with their levels, what they tell."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.line.deciding import decide
from benchrig.line.proof import Claim, Expected, Found, Outcome, Place, Proven, Told
from benchrig.line.scene import Ask, Candidate, Scene

OWN = {"1": "a", "2": "b"}
SHARED = {"1": "a", "2": "a"}
ALONE = {"1": "a"}
FAR = -30.0


@dataclass(frozen=True)
class Device:
    """A simulated one: what is true of it. `serial` None: it does not take connections; '': it tells none."""

    address: str
    serial: str | None = ""
    slot: str = "1"  # '' for one that lies near
    level: float = -45.0
    near: dict[str, float] = field(default_factory=dict)  # where it is in no slot: its level by radio
    stays: bool = True
    at_level: bool = False

    def candidate(self, radios: dict[str, str], reports: int = 9) -> Candidate:
        at = radios.get(self.slot, "")
        levels = self.near or {name: self.level + (0 if name == at else FAR) for name in radios.values()}
        return Candidate(
            self.address, self.stays, not self.stays, levels, dict.fromkeys(levels, reports), True, self.at_level
        )

    @property
    def told(self) -> Told:
        return Told(why="gave no answer", connected=False) if self.serial is None else Told(self.serial)


def at(address: str) -> str:
    """A whole address for a letter."""
    return f"C4:00:00:00:00:0{address}" if len(address) == 1 else address


def expected(serial: str = "", address: str = "") -> Expected:
    return Expected("LABEL", serial, at(address) if address else "")


def proved(
    wanted: Expected,
    *devices: Device,
    radios: dict[str, str] = OWN,
    slot: str = "1",
    claims: tuple[Claim, ...] = (),
    margin: float = 10.0,
    reports: int = 9,
    staying: tuple[Claim, ...] = (),
    **more: object,
) -> Outcome:
    """As the prover does it: what has to be asked is asked."""
    told: dict[str, Told] = {}
    heard = [each.candidate(radios, reports) for each in devices]
    listened = frozenset(radios.values())
    for _ in range(len(devices) + 1):
        scene = Scene(wanted, Place(slot, radios), heard, margin, listened, claims, staying, told, **more)  # type: ignore[arg-type]
        answer = decide(scene)
        if not isinstance(answer, Ask):
            return answer
        assert answer.address not in told, "asked twice"
        assert answer.address not in {claim.address for claim in claims}, "a unit under test was asked"
        told[answer.address] = next(each.told for each in devices if each.address == answer.address)
    raise AssertionError("more was asked than there is")


def proven_address(outcome: Outcome) -> str:
    return outcome.address if isinstance(outcome, Proven) else ""


def run_on(outcome: Outcome) -> str:
    return outcome.address if isinstance(outcome, Found) else ""
