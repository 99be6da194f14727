"""What there is of a device beside its link: the console it prints on, the switch that takes its power."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from benchrig.errors import StationError

if TYPE_CHECKING:
    from benchrig.console.console import Console


class Power(Protocol):
    """Switches a device. Each returns once that is done; StationError when the station cannot, DeviceError for a device
    that does not start."""

    async def down(self, within: float) -> None: ...

    async def up(self, within: float) -> bool:
        """Whether it was without power before."""
        ...


def _any() -> Collection[str]:
    return ()


@dataclass(frozen=True)
class Beside:
    """Of one device. `addresses` are those under which it has been heard so far, as far as that is known here."""

    name: str
    console: Console | None = None
    power: Power | None = None
    addresses: Callable[[], Collection[str]] = _any


def beside_of(all_: Sequence[Beside], address: str) -> Beside:
    """The one of the device with this address, '' while that is not known. StationError when there is none, or nothing says
    which one it is."""
    if len(all_) == 1:
        return all_[0]
    own = [one for one in all_ if address and address in one.addresses()]
    if len(own) == 1:
        return own[0]
    if not all_:
        raise StationError(
            "this station has neither a console nor a switch for the device",
            advice="name its console with --console, or console and power in the station file",
        )
    names = ", ".join(one.name for one in all_)
    raise StationError(
        f"several devices have a console and a switch, and it is not known which one is meant: {names}",
        advice="find the device with a scan before this step",
    )
