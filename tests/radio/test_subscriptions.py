"""Counted subscriptions: a device is asked once, however many listen, and told when the last one leaves."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from functools import wraps
from typing import Any

import pytest

from benchrig.errors import AttError, NoAnswer, UsageError
from benchrig.radio.subscriptions import Subscriptions
from benchrig.radio.table import Characteristic
from benchrig.radio.virtual.clock import VirtualLoop

TEMPERATURE = Characteristic(3, "2a6e", ("notify",), (), None)
HUMIDITY = Characteristic(6, "2a6f", ("notify",), (), None)


def on_virtual_clock(test: Callable[[], Awaitable[None]]) -> Callable[[], None]:
    @wraps(test)
    def run() -> None:
        async def main() -> None:
            await test()

        with asyncio.Runner(loop_factory=VirtualLoop) as runner:
            runner.run(main())

    return run


class Device:
    """A link to a device that takes 50 ms for each request; `refuses` so many of them."""

    def __init__(self, refuses: int = 0) -> None:
        self.asked: list[tuple[str, int]] = []
        self.sends: dict[int, Any] = {}
        self._refuses = refuses

    async def subscribe(
        self, characteristic: Characteristic, hear: Any, doing: str, within: float, *, indicate: bool = False
    ) -> None:
        self.asked.append(("on", characteristic.handle))
        await asyncio.sleep(0.05)
        if self._refuses:
            self._refuses -= 1
            raise AttError(0x80, "application error", doing)
        self.sends[characteristic.handle] = hear

    async def unsubscribe(self, characteristic: Characteristic, doing: str, within: float) -> None:
        self.asked.append(("off", characteristic.handle))
        await asyncio.sleep(0.05)
        del self.sends[characteristic.handle]


def subscriptions(device: Device) -> Subscriptions:
    return Subscriptions(device)  # type: ignore[arg-type]


@on_virtual_clock
async def test_the_device_is_asked_once_for_two_listeners() -> None:
    device, one, other = Device(), list[bytes](), list[bytes]()
    shared = subscriptions(device)
    await shared.add(TEMPERATURE, one.append, "listen", 1)
    await shared.add(TEMPERATURE, other.append, "listen", 1)
    device.sends[3](b"\x01")
    await shared.remove(TEMPERATURE, one.append, "leave", 1)
    device.sends[3](b"\x02")
    await shared.remove(TEMPERATURE, other.append, "leave", 1)
    assert (one, other) == ([b"\x01"], [b"\x01", b"\x02"])
    assert device.asked == [("on", 3), ("off", 3)]


@on_virtual_clock
async def test_a_second_listener_waits_for_the_request_of_the_first() -> None:
    device = Device()
    shared = subscriptions(device)
    loop = asyncio.get_running_loop()
    began = loop.time()
    async with asyncio.TaskGroup() as group:
        group.create_task(shared.add(TEMPERATURE, [].append, "listen", 1))
        second = group.create_task(shared.add(TEMPERATURE, [].append, "listen", 1))
        await asyncio.sleep(0.03)
        assert not second.done()
    assert loop.time() - began == pytest.approx(0.05)
    assert device.asked == [("on", 3)]


@on_virtual_clock
async def test_a_request_that_is_refused_is_made_again_for_the_second() -> None:
    device, heard = Device(refuses=1), list[bytes]()
    shared = subscriptions(device)
    results = await asyncio.gather(
        shared.add(TEMPERATURE, [].append, "listen", 1),
        shared.add(TEMPERATURE, heard.append, "listen", 1),
        return_exceptions=True,
    )
    assert isinstance(results[0], AttError)
    assert results[1] is None
    device.sends[3](b"\x01")
    assert heard == [b"\x01"]
    assert device.asked == [("on", 3), ("on", 3)]


@on_virtual_clock
async def test_a_listener_that_was_refused_hears_nothing_of_a_later_one() -> None:
    device, refused, later = Device(refuses=1), list[bytes](), list[bytes]()
    shared = subscriptions(device)
    with pytest.raises(AttError):
        await shared.add(TEMPERATURE, refused.append, "listen", 1)
    await shared.add(TEMPERATURE, later.append, "listen", 1)
    device.sends[3](b"\x01")
    assert (refused, later) == ([], [b"\x01"])


@on_virtual_clock
async def test_who_comes_while_the_last_one_leaves_is_subscribed_again() -> None:
    device, first, heard = Device(), list[bytes](), list[bytes]()
    shared = subscriptions(device)
    await shared.add(TEMPERATURE, first.append, "listen", 1)
    async with asyncio.TaskGroup() as group:
        group.create_task(shared.remove(TEMPERATURE, first.append, "leave", 1))
        await asyncio.sleep(0.01)
        group.create_task(shared.add(TEMPERATURE, heard.append, "listen", 1))
    device.sends[3](b"\x01")
    assert (first, heard) == ([], [b"\x01"])
    assert device.asked == [("on", 3), ("off", 3), ("on", 3)]


@on_virtual_clock
async def test_two_characteristics_do_not_wait_for_each_other() -> None:
    device = Device()
    shared = subscriptions(device)
    began = asyncio.get_running_loop().time()
    async with asyncio.TaskGroup() as group:
        group.create_task(shared.add(TEMPERATURE, [].append, "listen", 1))
        group.create_task(shared.add(HUMIDITY, [].append, "listen", 1))
    assert asyncio.get_running_loop().time() - began == pytest.approx(0.05)


@on_virtual_clock
async def test_the_wait_for_another_one_has_an_end() -> None:
    shared = subscriptions(Device())
    async with asyncio.TaskGroup() as group:
        group.create_task(shared.add(TEMPERATURE, [].append, "listen", 1))
        await asyncio.sleep(0)
        with pytest.raises(NoAnswer, match=r"watch it: the device did not answer within 0\.02 s"):
            await shared.add(TEMPERATURE, [].append, "watch it", 0.02)


@on_virtual_clock
async def test_two_that_listen_at_once_cannot_want_different_things() -> None:
    device, both = Device(), Characteristic(9, "2a6d", ("notify", "indicate"), (), None)
    shared = subscriptions(device)
    await shared.add(both, print, "listen", 1, indicate=True)
    await shared.add(both, repr, "listen", 1)
    with pytest.raises(UsageError, match="the characteristic sends indications already"):
        await shared.add(both, str, "listen again", 1, indicate=False)
    assert device.asked == [("on", 9)]
