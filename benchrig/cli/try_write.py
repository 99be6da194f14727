"""Writing to a device what it has: which attributes may be written so, and who has agreed to that."""

from __future__ import annotations

from benchrig import terminal
from benchrig.cli.completing import attributes_option
from benchrig.cli.desk import caution_at_hand, not_acknowledged
from benchrig.cli.options import Decorator


def try_write_option(help: str) -> Decorator:
    return attributes_option("--try-write", f"{help}; asks first. May be given several times.")


def caution_of(writes: tuple[str, ...], acknowledge: bool) -> str:
    """What the person has to acknowledge, '' for nothing. OperatorError where nobody can."""
    if not writes or acknowledge:
        return ""
    if not terminal.attended():
        raise not_acknowledged()
    return f"{caution_at_hand()} This writes to the device: {', '.join(writes)}.".strip()


async def ask(caution: str) -> None:
    """OperatorError."""
    from benchrig.cli.operator import AtTerminal
    from benchrig.loop import outside

    if caution:
        with outside():
            await AtTerminal().acknowledge(caution)
