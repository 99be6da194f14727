"""The air: who is in it, who is connected, what goes wrong, and the one source of chance."""

from __future__ import annotations

import asyncio
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchrig.errors import InternalError
from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.airlink import AirLink
from benchrig.radio.virtual.band import Advertiser, Band
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.chance import Chance
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.faults import Faults
from benchrig.radio.virtual.rough_band import RoughBand
from benchrig.radio.virtual.rough_link import EVENTS_TO_ESTABLISH

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchrig.radio.bumble_stack.bumble_api import Controller
    from benchrig.radio.virtual.conditions import Conditions


@dataclass(frozen=True)
class TracedPdu:
    """One PDU that arrived, for comparing runs. `at` in loop time, `crc` of its octets."""

    number: int
    at: float
    to_central: bool
    length: int
    crc: int


class Air:
    """Everything random in it depends on the seed alone. Without `conditions` it is kind."""

    def __init__(self, seed: int, faults: Faults | None = None, conditions: Conditions | None = None) -> None:
        self.chance = Chance(seed)
        self.faults = faults or Faults()
        self.conditions = conditions
        rough = conditions and RoughBand(self.chance, self.faults, conditions)
        self.band = rough or Band(self.chance, self.faults)
        self.pdus = 0
        self.trace: list[TracedPdu] | None = None
        self.errors: list[Exception] = []
        self.controllers: dict[str, Controller] = {}
        self._links: dict[int, AirLink] = {}
        self.on_error: Callable[[Exception], None] | None = None

    @property
    def links(self) -> list[AirLink]:
        """The connections that are up, oldest first."""
        return list(self._links.values())

    def add_controller(self, controller: Controller) -> None:
        self.controllers[controller.name] = controller

    def remove_controller(self, controller: Controller) -> None:
        self.controllers.pop(controller.name, None)

    def on_address_changed(self, controller: Controller) -> None:
        """bumble's controllers say so; an advertiser takes its address when its parameters are set."""

    def connect(self, central: VirtualController, own: hci.Address, advertiser: Advertiser, timing: Timing) -> None:
        """`central` has asked for a connection with an advertiser that it hears."""
        peripheral = advertiser.owner
        if not isinstance(peripheral, VirtualController) or advertiser.refuses():
            self._refuse(central, own, advertiser, timing)
            return
        if not advertiser.admits(own) or not self.band.hears_request(advertiser, central):
            self._refuse(central, own, advertiser, timing)
            return
        link = AirLink(self, central, peripheral, timing)
        link.rssi_mean, link.rssi_spread = advertiser.rssi_mean, advertiser.rssi_spread
        link.weaker = advertiser.weaker_at(central.name)
        self._links[id(link)] = link
        if self.conditions and (path := self.band.path_of(advertiser)):
            link.roughen(path, self.conditions)
        link.open(own, advertiser.address)

    def _refuse(self, central: VirtualController, own: hci.Address, advertiser: Advertiser, timing: Timing) -> None:
        """The request goes out and nobody answers it: for the central the link is there, and then it never was."""
        silent = VirtualController(f"{advertiser.address} (silent)", Air(0))
        link = AirLink(self, central, silent, timing)
        link.dark = True
        self._links[id(link)] = link
        link.open(own, advertiser.address)
        reason = hci.HCI_ErrorCode.CONNECTION_FAILED_TO_BE_ESTABLISHED_ERROR
        link.end_later(EVENTS_TO_ESTABLISH * timing.interval_seconds, reason)

    def forget(self, link: AirLink) -> None:
        self._links.pop(id(link), None)

    def blackhole(self) -> None:
        """From now on nothing crosses any present link; each ends by supervision time-out."""
        for link in self.links:
            link.darken()

    def rssi_of(self, link: AirLink) -> int:
        """One measurement of a link's signal, in whole dBm."""
        return link.measured(self.chance.of("link levels", link.unit))

    def interval_of(self, shortest: int, longest: int) -> int:
        """The connection interval that a central takes of those that its host allows."""
        return longest if self.conditions else shortest

    def clock_of(self, advertiser: Advertiser) -> float:
        """How long a second of this unit's clock is."""
        path = self.band.path_of(advertiser)
        return path.clock if path else 1.0

    def count_pdu(self) -> int:
        self.pdus += 1
        return self.pdus

    def note_pdu(self, number: int, to_central: bool, data: bytes) -> None:
        if self.trace is not None:
            now = asyncio.get_running_loop().time()
            self.trace.append(TracedPdu(number, round(now, 9), to_central, len(data), zlib.crc32(data)))

    def fail(self, exc: Exception) -> None:
        """An exception where nobody waits for a result: kept, told to `on_error`, or else to the loop's handler, so
        that whatever runs on it hears of it at once, and raised by `check`."""
        self.errors.append(exc)
        if self.on_error:
            self.on_error(exc)
        elif len(self.errors) == 1:
            loop = asyncio.get_running_loop()
            loop.call_exception_handler({"message": "the virtual radio failed", "exception": self.failure()})

    def failure(self) -> InternalError | None:
        """The first of these errors, as one of this program: no unit is to blame for it."""
        if not self.errors:
            return None
        error = InternalError(f"the virtual radio failed: {self.errors[0]!r}")
        error.__cause__ = self.errors[0]
        return error

    def check(self) -> None:
        if error := self.failure():
            raise error

    def close(self) -> None:
        """Drop every link and every timer."""
        for link in self.links:
            link.close({}, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)
        for controller in self.controllers.values():
            if isinstance(controller, VirtualController):
                controller.power_down()
        self.band.close()
