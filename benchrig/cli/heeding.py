"""A write that a person is asked about: looked up first, then the caution, then it can be sent."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from benchrig import terminal
from benchrig.cli.desk import at_desk, caution_at_hand, not_acknowledged
from benchrig.cli.out import tell
from benchrig.cli.typed import typed_bytes
from benchrig.errors import OperatorError, UsageError

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.writing import Order, Sending
    from benchrig.radio.link import Link

T = TypeVar("T")


def bytes_given(value: tuple[str, ...], raw: str | None, file: Path | None, *, what: str) -> bytes | None:
    """The bytes of --raw or --file; None when there is a VALUE. UsageError unless just one of these is given."""
    from benchrig.files import read_bounded
    from benchrig.steps.payload import LONGEST

    if bool(value) + (raw is not None) + (file is not None) != 1:
        raise UsageError(what, advice="for example: --raw '01 A0'")
    if raw is not None:
        return typed_bytes(raw, "--raw: ")
    if file is None:
        return None
    data = read_bounded(file, LONGEST, "and no attribute holds them")
    tell(f"{len(data)} byte{'s' if len(data) != 1 else ''} from {file}")
    return data


def at_desk_heeding(
    desk: DeskOptions, acknowledge: bool, work: Callable[[Desk, Sending, str | None], Awaitable[dict[str, Any]]]
) -> dict[str, Any]:
    """Do the work, which gets the caution to ask with, None for one that --acknowledge answers. OperatorError says how
    far the write had come."""
    from benchrig.desk.writing import Sending

    if not acknowledge and not terminal.attended():
        raise not_acknowledged()
    caution, sending = caution_at_hand(), Sending()

    async def whole(at: Desk) -> dict[str, Any]:
        return await work(at, sending, None if acknowledge else caution)

    try:
        return at_desk(desk, whole)
    except OperatorError as error:
        raise OperatorError(f"{error.message}; {sending.state}", advice=error.advice) from error


async def acknowledged(
    at: Desk, order: Order, caution: str | None, prepare: Callable[[Link], Awaitable[T]]
) -> tuple[Link, T]:
    """The caution, if there is one to ask for, comes after the look at the table: nobody is asked about a write that
    the attribute does not offer. The link is kept meanwhile; one that was lost is made again."""
    from benchrig.loop import outside

    unit, link = await at.reach()
    prepared = await prepare(link)
    if caution is not None:
        from benchrig.cli.operator import AtTerminal

        with outside():
            await AtTerminal().acknowledge(order.caution(unit, caution))
        if not link.is_up:
            link = await at.connect()
            prepared = await prepare(link)
    return link, prepared
