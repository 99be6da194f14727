"""What was seen of devices that are known to be good, as plain data: nothing is judged here."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.desk.inspection import AdvertisingSeen, ServiceSeen
from benchrig.desk.paths import Place, attributes_in
from benchrig.desk.protection import Protection
from benchrig.radio.scan import Ear
from benchrig.radio.security import Paired
from benchrig.study.tolerance import Group
from benchrig.values.att_errors import INSUFFICIENT
from benchrig.values.catalogue import att_error_name, long_uuid

# Services that the operating systems keep for themselves: a plan must run on every radio.
HIDDEN = (long_uuid(0x1800), long_uuid(0x1801))


@dataclass
class Snapshot:
    """Everything that could be read of one unit at one time."""

    unit: str
    services: list[ServiceSeen]
    # once a connection: what it advertised, and how it was connected (seconds, attempts, bytes that a packet carries)
    advertising: AdvertisingSeen | None = None
    connect: float | None = None
    attempts: int | None = None
    payload: int | None = None
    address_type: str = ""
    # where it is from, in words
    source: str = ""


@dataclass
class StreamSeen:
    """What a characteristic sent in one subscription."""

    # the characteristic: its place, or the name that a record has for it
    of: Place | str
    unit: str
    seconds: float
    count: int
    # per second between the first and the last, None for fewer than two
    rate: float | None
    # the times between, and their 95th percentile
    gaps: Group | None
    # the first ones, in their order
    values: list[bytes] = field(default_factory=list)
    # where a record keeps no values: numbers by the name of their reading
    fields: dict[str, Group] = field(default_factory=dict)
    gap_p95: float | None = None
    # when these values came
    times: list[float] = field(default_factory=list)
    # values that its counter showed to be missing, where a record tells
    lost: int = 0
    source: str = ""


@dataclass
class ReadByName:
    """A value that a record of a run holds: the attribute as the plan of that run called it, bytes or a refusal."""

    unit: str
    name: str
    raw: bytes | None
    refused: str = ""


@dataclass(frozen=True)
class KnownUnit:
    """A unit, with the name that it advertises ('' for none) and its address."""

    unit: str
    name: str
    address: str


@dataclass
class Evidence:
    """All that a draft is made from."""

    met: list[KnownUnit] = field(default_factory=list)
    looks: list[Snapshot] = field(default_factory=list)
    heard: list[StreamSeen] = field(default_factory=list)
    reads: list[ReadByName] = field(default_factory=list)
    # why there is no stream of an attribute, and why nothing was asked of one
    silent: dict[Place, str] = field(default_factory=dict)
    left_out: dict[Place, str] = field(default_factory=dict)
    # how the link ended while an attribute was read or listened to
    ended: dict[Place, str] = field(default_factory=dict)
    # values that came without a subscription, by link; none where nobody looked
    unasked: list[int] = field(default_factory=list)
    # how whole the sources are, in words
    doubts: list[str] = field(default_factory=list)
    # readings, 'step.reading', that the radio does not have
    lacks: frozenset[str] = frozenset()
    sources: list[str] = field(default_factory=list)
    simulated: bool = False
    # whether a radio kept some services to itself
    hides: bool = False
    # what the first unit asks for before its attributes may be used; None where nobody looked
    protection: Protection | None = None
    # what the pairing of each connection came to
    paired: list[Paired] = field(default_factory=list)
    # everything that was heard meanwhile; nothing where the evidence comes from files
    air: Ear = field(default_factory=Ear)

    @property
    def advertised(self) -> list[AdvertisingSeen]:
        """What the units advertised, once a connection."""
        return [look.advertising for look in self.looks if look.advertising is not None]

    @property
    def wants_security(self) -> bool:
        """Whether a unit refused something for want of it."""
        seen = (each.refused for look in self.looks for _, each in attributes_in(look.services))
        told = tuple(att_error_name(code) for code in INSUFFICIENT)
        return any(code in INSUFFICIENT for code in seen) or any(
            name in why for why in self.silent.values() for name in told
        )

    @property
    def units(self) -> list[str]:
        """The units, in the order they were seen."""
        return list(dict.fromkeys(met.unit for met in self.met))
