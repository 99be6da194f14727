"""What BlueZ does by itself where a device wants an encrypted link: it pairs, at once and unasked.

A request that is answered with insufficient authentication or encryption, a human interface device, a security request:
each of them makes BlueZ start to pair, and what was asked for is answered only when that has come to an end, if ever.
So the bench is the agent that BlueZ has to ask: it learns of the pairing, and refuses it. (BlueZ
doc/org.bluez.AgentManager.rst and org.bluez.Agent.rst.)
"""

from __future__ import annotations

from collections.abc import Callable

from dbus_fast import Message, MessageType

from benchrig.errors import StationError
from benchrig.radio.bluez import Bluez

_PATH, _INTERFACE = "/org/benchrig/agent", "org.bluez.Agent1"
_MANAGER = "org.bluez.AgentManager1"
# Without an input or an output the kernel pairs without asking.
_CAPABILITY = "KeyboardDisplay"
# One process alone is the agent of the system: it tells the others, which may be at work on another adapter.
_SIGNAL, _ASKED = "org.benchrig.Agent1", "PairingAsked"
_NEWS = f"type='signal',interface='{_SIGNAL}',member='{_ASKED}',path='{_PATH}'"
_NO_QUESTION = ("Release", "Cancel")


class Agent:
    """Refuses every pairing; `asked` gets the object path of the device that BlueZ wants to pair with."""

    def __init__(self, bluez: Bluez, asked: Callable[[str], None]) -> None:
        self._bluez = bluez
        self._asked = asked

    async def register(self) -> bool:
        """Whether BlueZ takes it: a system may keep that for some of its users."""
        self._bluez.bus.add_message_handler(self._heard)
        try:
            await self._bluez.listen(_NEWS)
            await self._bluez.call("/org/bluez", _MANAGER, "RegisterAgent", "os", [_PATH, _CAPABILITY])
            await self._bluez.call("/org/bluez", _MANAGER, "RequestDefaultAgent", "o", [_PATH])
        except StationError:
            return False
        return True

    def _heard(self, message: Message) -> Message | None:
        if message.message_type is MessageType.SIGNAL and message.member == _ASKED and message.path == _PATH:
            self._asked(str(message.body[0]))
        if message.message_type is not MessageType.METHOD_CALL or message.interface != _INTERFACE:
            return None
        if message.member in _NO_QUESTION:
            return Message.new_method_return(message)
        self._asked(str(message.body[0]))
        self._bluez.bus.send(Message.new_signal(_PATH, _SIGNAL, _ASKED, "o", [message.body[0]]))
        return Message.new_error(message, "org.bluez.Error.Rejected", "benchrig does not pair")
