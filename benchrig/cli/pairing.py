"""The person at the terminal while a device is paired with: types a passkey, reads one, compares two numbers."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig import terminal
from benchrig.cli.operator import AtTerminal
from benchrig.values.passkey import digits_of, typed_digits, wrong_digits

if TYPE_CHECKING:
    from benchrig.radio.security import Party


class PartyAtTerminal:
    """Numbers are shown to the person, and kept nowhere."""

    def __init__(self, operator: AtTerminal) -> None:
        self._operator = operator

    async def enter(self) -> int | None:
        return int(typed_digits(await self._operator.enter("The passkey that the device shows:", wrong_digits)))

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        await self._operator.tell(f"Type this passkey on the device: {digits_of(passkey)}")

    async def compare(self, number: int) -> bool:
        return await self._operator.confirm(f"Does the device show {digits_of(number)}?")


def party_here(quiet: Callable[[], None]) -> Party:
    """The person at this terminal, or nobody. `quiet` takes the line off the screen that says what is being waited for."""
    from benchrig.desk.securing import Unattended

    return PartyAtTerminal(AtTerminal(quiet)) if terminal.attended() else Unattended()
