"""What a device on the air tells of who it is."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Protocol

from benchrig.errors import BenchrigError, LinkError, NoAnswer, StationError
from benchrig.line.proof import Told
from benchrig.radio.proof import serial_told
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Sighting


class Lending(Protocol):
    """The radios of a station."""

    async def lend(self, slot: str, *, without: frozenset[str] = frozenset()) -> Radio: ...

    def connecting(self, slot: str) -> AbstractAsyncContextManager[None]: ...


@dataclass(frozen=True)
class Asking:
    """Over the radio of a slot, which has a place among its links; `within` seconds for the connection."""

    radios: Lending
    slot: str
    within: float

    async def ask(self, sighting: Sighting) -> Told:
        """Its serial number, read over a link that is ended again. Nothing that the device does or leaves is an error here;
        StationError for what the radio does."""
        radio = await self.radios.lend(self.slot)
        try:
            return await self._asked(radio, sighting)
        except (LinkError, NoAnswer) as error:
            return Told(why=f"gave no answer: {error.message}", connected=False)
        except StationError:
            raise
        except BenchrigError as error:
            return Told(why=f"tells no serial number: {error.message}")
        finally:
            await radio.close()

    async def _asked(self, radio: Radio, sighting: Sighting) -> Told:
        async with self.radios.connecting(self.slot):
            link = await radio.connect(sighting, self.within)
        serial = (await serial_told(link)).strip()
        return Told(serial, "" if serial else "tells an empty serial number")
