"""What a unit did in one run: what it was asked and answered, what it did on its own, what it advertised.

Times are seconds on the clock of the run. Attributes go by a key: what a person calls them, unique in the device.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from benchrig.radio.virtual.gatt_spec import CCCD

Kind: TypeAlias = Literal["connect", "read", "write", "subscribe"]
Deed: TypeAlias = Literal["sends", "ends", "vanishes", "prints"]


@dataclass
class Descriptor:
    uuid: str
    handle: int = 0
    value: bytes | None = None  # the first that was read; None: none was
    writable: bool = False


@dataclass
class Characteristic:
    """`properties` by the names of device files. `has_cccd`: None where nobody looked."""

    key: str
    uuid: str
    properties: list[str]
    handle: int = 0
    descriptors: list[Descriptor] = field(default_factory=list)
    has_cccd: bool | None = None
    subscribe_needs: str = ""

    @property
    def others(self) -> list[Descriptor]:
        """The descriptors but that for subscribing."""
        return [one for one in self.descriptors if one.uuid != CCCD]


@dataclass
class Service:
    uuid: str
    characteristics: list[Characteristic] = field(default_factory=list)
    handle: int = 0
    end: int = 0


@dataclass
class Unasked:
    """`after` the request before it, in seconds. `back`: until it is on the air again; None: it was not heard again;
    `back_known`: nobody listened when it came."""

    deed: Deed
    after: float
    key: str = ""
    value: bytes = b""
    text: str = ""
    back: float | None = 0.0
    back_known: bool = True


@dataclass
class Asked:
    """One request, and what came of it: `value` of a read, or the `error`, or neither when `answered`; `after`: the time that
    the unit took. `counts`: whether a twin that was asked the same would take notice."""

    kind: Kind
    key: str
    at: float
    written: bytes = b""
    value: bytes | None = None
    error: int | None = None
    answered: bool = False
    after: float = 0.0
    counts: bool = True
    then: list[Unasked] = field(default_factory=list)
    step: str = ""

    @property
    def came(self) -> tuple[Any, ...]:
        """How it was answered, but for a value."""
        return self.answered, self.error


@dataclass
class Advertised:
    """`interval`: None where it was not measured."""

    data: bytes
    response: bytes = b""
    interval: float | None = None
    connectable: bool = True
    scannable: bool | None = None
    level: float | None = None
    spread: float = 0.0


@dataclass
class Story:
    """`silent_after`: the time from which on it was not heard, of one that fell silent. `again_after`: from the end of a link to
    its advertising. `security`: the keys of a device file. `guesses` and `lacks` are told at the head of the twin."""

    name: str
    address: str = ""
    address_type: str = "random"
    mtu: int | None = None
    advertised: Advertised | None = None
    services: list[Service] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)
    refused: int = 0
    silent_after: float | None = None
    again_after: float = 0.0
    started: list[Unasked] = field(default_factory=list)  # before anybody had connected
    security: dict[str, Any] = field(default_factory=dict)
    faults: dict[str, Any] = field(default_factory=dict)  # of its security
    displays: dict[str, None] = field(default_factory=dict)  # lines that it prints with a number to show
    slow: float = 0.0  # what each request takes at least
    console: dict[str, list[str]] = field(default_factory=dict)  # what it printed when it was sent a line
    deletes_bonds: set[str] = field(default_factory=set)  # characteristics whose writes do
    guesses: list[str] = field(default_factory=list)
    lacks: list[str] = field(default_factory=list)

    @property
    def characteristics(self) -> Iterator[Characteristic]:
        for service in self.services:
            yield from service.characteristics

    def of(self, kind: Kind, key: str) -> list[Asked]:
        return [one for one in self.asked if (one.kind, one.key) == (kind, key) and one.counts]
