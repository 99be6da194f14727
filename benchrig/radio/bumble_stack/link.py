"""One connection of a client: what runs on it, and how it ends."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import TYPE_CHECKING, Any, TypeVar

from bleak.exc import BleakError, BleakGATTProtocolError

from benchrig.radio.bumble_stack.bumble_api import att, core, hci
from benchrig.radio.bumble_stack.faults import DeviceFault
from benchrig.radio.bumble_stack.host import MALFORMED
from benchrig.radio.bumble_stack.stack import SETTLE_WITHIN, HostStack, reason_of
from benchrig.radio.bumble_stack.unasked import Unasked

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Client, Connection

T = TypeVar("T")


class AttTimeout(BleakError, TimeoutError):
    """An ATT request was not answered within 30 s; its link is closed, as Core Vol 3 Part F 3.3.3 demands."""


class ClientLink:
    """`gone` becomes the link layer's reason when the connection ends; `closing` says why it is to end, `fault` that
    the device broke the protocol. `over` is done with either. `security_lock` is for what changes the link's keys."""

    def __init__(self, stack: HostStack, connection: Connection) -> None:
        self.connection = connection
        self.gone: asyncio.Future[hci.HCI_ErrorCode] = asyncio.get_running_loop().create_future()
        self.closing = self.fault = ""
        self.unasked = Unasked(connection.gatt_client)
        self.over: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.security_lock = asyncio.Lock()
        self.phy = (hci.Phy.LE_1M, hci.Phy.LE_1M)
        self._stack = stack
        connection.on(connection.EVENT_DISCONNECTION, self._on_gone)
        connection.on(connection.EVENT_CONNECTION_PHY_UPDATE, self._on_phy)
        connection.on(MALFORMED, self._on_malformed)
        stack.host.gone.add_done_callback(self._on_controller_gone)
        stack.host.notified[connection.handle] = self._hear

    def _on_gone(self, reason: int) -> None:
        # bumble says 0 when the controller itself is gone.
        self._stack.host.gone.remove_done_callback(self._on_controller_gone)
        if self._stack.host.notified.get(self.connection.handle) == self._hear:
            del self._stack.host.notified[self.connection.handle]
        if not self.gone.done():
            self.gone.set_result(hci.HCI_ErrorCode(reason or hci.HCI_ErrorCode.HARDWARE_FAILURE_ERROR))
        self._end()

    def _hear(self, notification: att.ATT_Handle_Value_Notification) -> None:
        self.client.on_att_handle_value_notification(notification)

    def _on_controller_gone(self, _: asyncio.Future[None]) -> None:
        self._on_gone(hci.HCI_ErrorCode.HARDWARE_FAILURE_ERROR)

    def _on_malformed(self, exc: Exception) -> None:
        self.fault = f"the device sent a malformed PDU ({exc})"
        self.closing = self.closing or self.fault
        self._end()

    def _end(self) -> None:
        if not self.over.done():
            self.over.set_result(None)

    def _on_phy(self, phy: core.ConnectionPHY) -> None:
        self.phy = (hci.Phy(phy.tx_phy), hci.Phy(phy.rx_phy))

    @property
    def is_up(self) -> bool:
        return not self.gone.done() and not self.closing

    @property
    def reason(self) -> hci.HCI_ErrorCode | None:
        """The link layer's, once the connection has ended."""
        return self.gone.result() if self.gone.done() else None

    @property
    def client(self) -> Client:
        return self.connection.gatt_client

    @property
    def lost(self) -> BleakError:
        """Why nothing can be done here any more; a lost controller outweighs the link."""
        self._stack.check()
        if self.fault:
            return DeviceFault(self.fault)
        if self.gone.done() and self.gone.result() == hci.HCI_ErrorCode.CONNECTION_FAILED_TO_BE_ESTABLISHED_ERROR:
            return BleakError("the device did not accept the connection")
        why = self.closing or (in_words(self.gone.result()) if self.gone.done() else "closing")
        return BleakError(f"the link was lost: {why}")

    @property
    def is_full(self) -> bool:
        """Whether as many packets wait as the controller takes: who sends on feels the pace of the air no more."""
        queue = self._stack.host.le_acl_packet_queue
        return queue is not None and queue.pending >= queue.max_in_flight

    async def has_room(self) -> None:
        while self.is_full:
            await self._flow()

    async def flushed(self) -> None:
        """Return once the controller has sent all packets."""
        queue = self._stack.host.le_acl_packet_queue
        while queue is not None and queue.pending:
            await self._flow()

    async def _flow(self) -> None:
        """Return once packets have crossed the air."""
        queue, flowed = self._stack.host.le_acl_packet_queue, asyncio.Event()
        assert queue is not None
        queue.once("flow", flowed.set)
        await flowed.wait()

    async def run(self, work: Coroutine[Any, Any, T]) -> T:
        """Run one ATT procedure against the loss of the link. The procedure itself is never cut short: whoever
        cancels it loses the link with it. Raises BleakGATTProtocolError, AttTimeout, BleakError."""
        task = self._stack.tasks.start(work)
        try:
            either: list[asyncio.Future[Any]] = [task, self.over]
            await asyncio.wait(either, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            self._stack.tasks.ignore(task)
            self.abandon("a request was cancelled before its answer arrived")
            raise
        if not task.done():
            self._stack.tasks.drop(task)
            raise self.lost
        return self._result(task)

    def _result(self, task: asyncio.Task[T]) -> T:
        try:
            return task.result()
        except att.ATT_Error as exc:
            raise BleakGATTProtocolError(exc.error_code) from exc
        except core.TimeoutError as exc:
            self.abandon("a request was not answered")
            raise AttTimeout(str(exc)) from exc
        except asyncio.CancelledError as exc:
            raise self.lost from exc  # bumble cancels what waits for an answer when the link goes
        except (core.BaseBumbleError, hci.HCI_Error) as exc:
            raise (BleakError(reason_of(exc)) if self.is_up else self.lost) from exc

    def abandon(self, why: str) -> None:
        """Close a link on which an answer is still due: it would be taken for the answer to the next request."""
        if self.is_up:
            self.closing = why
            self._stack.tasks.leave(self._stack.disconnect(self.connection))

    async def close(self) -> None:
        """End the link and wait until it has gone, as long as that makes sense."""
        self.abandon("closed by benchrig")
        await asyncio.wait([self.gone], timeout=SETTLE_WITHIN)
        # What cleans up after the link runs in the loop's next round.
        await asyncio.sleep(0)


def in_words(code: hci.HCI_ErrorCode) -> str:
    """A link-layer reason in words: 'connection timeout'."""
    return code.name.removesuffix("_ERROR").replace("_", " ").lower()
