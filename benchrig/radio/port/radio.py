"""The virtual radio that has ports."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError, InternalError
from benchrig.radio.link import Link
from benchrig.radio.port.opening import OpenPorts
from benchrig.radio.scan import Sighting
from benchrig.radio.stacked import StackRadio


@dataclass
class PortedRadio(StackRadio):
    """Knows why a unit on a port has gone, and when it has failed itself."""

    ports: OpenPorts = field(default_factory=OpenPorts)
    failure: Callable[[], InternalError | None] = lambda: None
    _address: str = ""

    async def connect(self, sighting: Sighting, within: float, *, stranger: bool = False) -> Link:
        self._address = sighting.address
        return await super().connect(sighting, within, stranger=stranger)

    async def fault(self) -> BenchrigError | None:
        return self.failure() or await super().fault()

    async def trouble(self) -> BenchrigError | None:
        return self.failure() or await self.ports.trouble(self._address) or await super().trouble()

    async def aftermath(self) -> BenchrigError | None:
        return self.failure() or self.ports.failure()
