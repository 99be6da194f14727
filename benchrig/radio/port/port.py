"""One port: hosts come and go, and what they send is held to the format."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.errors import DeviceError
from benchrig.radio.h4 import FROM_HOST, Framer, NotH4
from benchrig.radio.port.hosted import HostedController

if TYPE_CHECKING:
    from benchrig.radio.virtual.air import Air


class HciPort:
    """A controller on the air for one host at a time. `name` as people know the port: 'tcp:127.0.0.1:9001'.

    A host that goes, or that is refused, goes silently for its peers: links end by their supervision time-outs.
    """

    def __init__(self, air: Air, public_address: str) -> None:
        self.name = ""
        self.controller = HostedController(air, public_address)
        self.spoke = asyncio.Event()  # a host has sent something: a command, or what is none
        self.refused: DeviceError | None = None
        self.has_left = False
        self._framer: Framer | None = None
        self._hang_up: Callable[[], None] | None = None

    @property
    def has_host(self) -> bool:
        return self._framer is not None

    def arrive(self, send: Callable[[bytes], None], hang_up: Callable[[], None]) -> bool:
        """A host has come; False when there is one already."""
        if self.has_host:
            return False
        self._framer = Framer(FROM_HOST, self.controller.le_acl_data_packet_length)
        self._hang_up = hang_up
        self.refused, self.has_left = None, False
        self.controller.plug_in(send)
        return True

    def receive(self, data: bytes) -> None:
        """Octets from the host."""
        if self._framer is None:
            return
        try:
            for packet in self._framer.feed(data):
                self.spoke.set()
                self.controller.on_packet(packet)
                if not self.has_host:  # refused on the way
                    return
        except NotH4 as exc:
            self.refuse(f"the firmware sent invalid HCI: {exc}")

    def refuse(self, why: str) -> None:
        """Close the port to this host, and say why."""
        self.refused = DeviceError(
            f"benchrig closed {self.name}: {why}",
            advice="send HCI packets in the H4 format and nothing else to this port",
        )
        self.spoke.set()
        hang_up = self._hang_up
        self._forget()
        if hang_up:
            asyncio.get_running_loop().call_soon(hang_up)

    def leave(self) -> None:
        """The host has gone by itself."""
        if self._framer is None:
            return
        self.has_left = True
        self._forget()

    def drop(self) -> None:
        """The host is switched off: whatever still holds the port is not heard any more, and nothing is held against it."""
        hang_up = self._hang_up
        self._forget()
        self.has_left = False
        self.spoke.clear()
        if hang_up:
            hang_up()

    def _forget(self) -> None:
        self._framer = self._hang_up = None
        self.controller.unplug()

    def gone(self) -> DeviceError | None:
        """Why there is no host where there was one; None while there is one, or there never was."""
        if self.refused or not self.has_left:
            return self.refused
        return DeviceError(
            f"the firmware on {self.name} has gone: it closed its connection", advice="see what ended the firmware"
        )
