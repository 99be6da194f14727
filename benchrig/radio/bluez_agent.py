"""What BlueZ asks when it pairs, and what the bench answers.

A request that is answered with insufficient authentication or encryption, a human interface device, a security request:
each of them makes BlueZ start to pair, and what was asked for is answered only when that has come to an end, if ever.
So the bench is the agent that BlueZ has to ask: it learns of a pairing that nobody asked for, and refuses it; for one that
the bench has begun, whoever began it answers. (BlueZ doc/org.bluez.AgentManager.rst and org.bluez.Agent.rst.)
"""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from typing import Any, Protocol

from dbus_fast import Message, MessageType

from benchrig.errors import BenchrigError, StationError
from benchrig.radio.bluez import Bluez
from benchrig.radio.security import Capability
from benchrig.tasks import Tasks

_PATH, _INTERFACE = "/org/benchrig/agent", "org.bluez.Agent1"
_MANAGER = "org.bluez.AgentManager1"
_CAPABILITIES: dict[Capability, str] = {
    "none": "NoInputNoOutput",
    "display": "DisplayOnly",
    "yes/no": "DisplayYesNo",
    "keyboard": "KeyboardOnly",
    "keyboard and display": "KeyboardDisplay",
}
# As what it refuses: without an input or an output the kernel would pair without asking.
_REFUSES: Capability = "keyboard and display"
# One process alone is the agent of the system: it tells the others, which may be at work on another adapter.
_SIGNAL, _ASKED = "org.benchrig.Agent1", "PairingAsked"
_NEWS = f"type='signal',interface='{_SIGNAL}',member='{_ASKED}',path='{_PATH}'"
_NO_QUESTION = ("Release", "Cancel")


class Answers(Protocol):
    """Who answers while the bench pairs with one device."""

    async def answer(self, question: str, values: list[Any]) -> int | None:
        """`question` is a method of the agent, `values` what came with it beside the device. A number where a passkey is
        asked for, anything else but None where none is; None refuses."""
        ...

    def cancelled(self) -> None:
        """BlueZ wants no answer any more: the pairing is over."""
        ...


class Agent:
    """`asked` gets the object path of a device that BlueZ wants to pair with unasked, which is refused."""

    def __init__(self, bluez: Bluez, asked: Callable[[str], None]) -> None:
        self._bluez = bluez
        self._asked = asked
        self._device = ""
        self._answers: Answers | None = None
        self._questions = Tasks()
        self._registered = False

    async def register(self) -> bool:
        """Whether BlueZ takes it: a system may keep that for some of its users."""
        self._bluez.bus.add_message_handler(self._heard)
        try:
            await self._bluez.listen(_NEWS)
            await self._register(_REFUSES)
        except StationError:
            return False
        return True

    @contextlib.asynccontextmanager
    async def answering(self, device: str, capability: Capability, answers: Answers) -> AsyncIterator[None]:
        """Be the agent of this capability while the context is open: the device with this object path is answered."""
        await self._register(capability)
        self._device, self._answers = device, answers
        try:
            yield
        finally:
            self._device, self._answers = "", None
            await self._questions.close()
            await self._register(_REFUSES)

    async def _register(self, capability: Capability) -> None:
        """BlueZ has one agent for each connection to the bus, and asks the sender's of a pairing."""
        if self._registered:
            with contextlib.suppress(StationError):  # another service than the one that took it
                await self._bluez.call("/org/bluez", _MANAGER, "UnregisterAgent", "o", [_PATH])
        self._registered = False
        await self._bluez.call("/org/bluez", _MANAGER, "RegisterAgent", "os", [_PATH, _CAPABILITIES[capability]])
        self._registered = True
        await self._bluez.call("/org/bluez", _MANAGER, "RequestDefaultAgent", "o", [_PATH])

    def _heard(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL and message.member == _ASKED and message.path == _PATH:
            self._asked(str(message.body[0]))
        if message.message_type is not MessageType.METHOD_CALL or message.interface != _INTERFACE:
            return None
        if message.member in _NO_QUESTION:
            if self._answers is not None:
                self._answers.cancelled()
            return Message.new_method_return(message)
        if self._answers is not None and message.body[0] == self._device:
            self._questions.leave(self._answer(message, self._answers))
            return True
        return self._refused(message)

    def _refused(self, message: Message) -> Message:
        self._asked(str(message.body[0]))
        self._bluez.bus.send(Message.new_signal(_PATH, _SIGNAL, _ASKED, "o", [message.body[0]]))
        return _refusal(message)

    async def _answer(self, message: Message, answers: Answers) -> None:
        try:
            answer = await answers.answer(str(message.member), message.body[1:])
        except BenchrigError:  # whoever answers keeps it
            answer = None
        self._bluez.bus.send(_refusal(message) if answer is None else _reply(message, answer))


def _reply(message: Message, answer: int) -> Message:
    if message.member == "RequestPasskey":
        return Message.new_method_return(message, "u", [answer])
    return Message.new_method_return(message)


def _refusal(message: Message) -> Message:
    return Message.new_error(message, "org.bluez.Error.Rejected", "benchrig does not pair")
