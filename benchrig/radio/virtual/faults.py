"""What goes wrong on the air, on demand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import BumbleController


class AirPdu(NamedTuple):
    """One L2CAP PDU on its way. `number` counts from 1 over the whole run; `data` with its L2CAP header."""

    number: int
    sender: BumbleController
    to_central: bool
    data: bytes

    @property
    def att_opcode(self) -> int | None:
        """The opcode of an ATT PDU, None for another channel."""
        return self.data[4] if len(self.data) > 4 and self.data[2:4] == b"\x04\x00" else None


class _Dropped:
    def __repr__(self) -> str:
        return "DROPPED"


DROPPED: Final = _Dropped()

# What becomes of a PDU: it arrives unchanged (None), later by so many seconds, not at all, or as other octets.
Fate: TypeAlias = "float | bytes | _Dropped | None"


@dataclass
class Faults:
    """Set before the run or while it goes.

    latency           seconds that every PDU takes longer, either way
    loss              probability that a PDU is lost on air: it comes again in the next connection event, and a link
                      that gets nothing across for its supervision time-out ends with reason 0x08 at both ends
    advertising_loss  probability that one listener does not hear one advertising event
    kill_at           number of the PDU at which its link ends, as by supervision time-out but at once
    fate              called for each PDU, decides what becomes of it. A PDU that is dropped here is gone for good, as
                      if the sender had not sent it: an answer that a device forgets, not a loss on air
    """

    latency: float = 0.0
    loss: float = 0.0
    advertising_loss: float = 0.0
    kill_at: int | None = None
    fate: Callable[[AirPdu], Fate] | None = None
