"""A link that goes on over another connection to the same device."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from benchrig.errors import ConnectFailed, NoAnswer, StationError
from benchrig.radio.link import Link
from benchrig.radio.table import Characteristic, Table


class Client:
    address, is_connected, services, _backend = "C0:00:00:00:00:01", True, (), None

    def __init__(self) -> None:
        self.link: Link | None = None

    async def disconnect(self) -> None:
        assert self.link is not None
        self.link.on_disconnected()


def linked(patience: float = 60.0) -> Link:
    client: Any = Client()

    async def payload(link: Link) -> int:
        return 20

    def security() -> Any:
        raise AssertionError("it has none")

    client.link = Link(client, "unit", ask_payload=payload, security=security, patience=patience)
    assert isinstance(client.link, Link)
    return client.link


async def test_whoever_holds_it_keeps_it() -> None:
    link, other = linked(), linked()
    other.table = Table(())

    async def connect() -> Link:
        assert link.is_up
        return other

    assert await link.renew(connect) is other
    assert (link.is_up, link.table is other.table) == (True, True)
    # bleak tells the link that the connection was made for
    other.on_disconnected()
    assert (link.is_up, link.lost_reason, link.ended_here) == (False, "disconnected", False)


async def test_a_connection_that_does_not_come_is_the_loss_of_the_link() -> None:
    link = linked()

    async def connect() -> Link:
        raise ConnectFailed("it was not heard")

    with pytest.raises(ConnectFailed, match="not heard"):
        await link.renew(connect)
    assert (link.is_up, link.lost_reason) == (False, "it could not be made anew")


async def test_a_subscription_does_not_end_in_silence() -> None:
    link = linked()
    link._subscribed[3] = Characteristic(3, "2a19", ("notify",), (), None)
    with pytest.raises(StationError, match="there is a subscription"):
        await link.renew(lambda: pytest.fail("it may not connect"))
    assert link.is_up


async def test_a_radio_may_have_less_patience_than_a_plan() -> None:
    link = linked(patience=0.01)
    client: Any = link._client
    client.read_gatt_char = client.read_gatt_descriptor = lambda _: _never()
    with pytest.raises(NoAnswer, match=r"within 0\.01 s"):
        await link.read(Characteristic(3, "2a19", ("read",), (), None), "read", 60.0)
    assert (link.gave_up, link.is_up) == (True, False)


async def _never() -> bytes:
    await asyncio.Event().wait()
    raise AssertionError
