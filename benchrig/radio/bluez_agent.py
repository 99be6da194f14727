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

from benchrig.errors import StationError
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


class Agent:
    """Of the whole system; `asked` gets the object path of a device that BlueZ wants to pair with unasked, which is refused."""

    def __init__(self, bluez: Bluez, asked: Callable[[str], None]) -> None:
        self._bluez = bluez
        self._asked = asked

    async def register(self) -> bool:
        """Whether BlueZ takes it: a system may keep that for some of its users."""
        self._bluez.bus.add_message_handler(self._heard)
        try:
            await self._bluez.listen(_NEWS)
            await _register(self._bluez, _REFUSES)
            await self._bluez.call("/org/bluez", _MANAGER, "RequestDefaultAgent", "o", [_PATH])
        except StationError:
            return False
        return True

    def _heard(self, message: Message) -> Message | None:
        if message.message_type is MessageType.SIGNAL and message.member == _ASKED and message.path == _PATH:
            self._asked(str(message.body[0]))
        if not _is_for_agents(message):
            return None
        if message.member in _NO_QUESTION:
            return Message.new_method_return(message)
        self._asked(str(message.body[0]))
        self._bluez.bus.send(Message.new_signal(_PATH, _SIGNAL, _ASKED, "o", [message.body[0]]))
        return _refusal(message)


@contextlib.asynccontextmanager
async def answering(capability: Capability, answers: Answers) -> AsyncIterator[Bluez]:
    """A connection of its own to the bus: BlueZ asks the agent there, of this capability, about each pairing that is
    requested over it. What others begin goes on to be refused by the agent of the system. BlueZ has one agent for each
    connection, and forgets it with that."""
    bluez = await Bluez.reach()
    agent = _Answering(bluez, answers)
    try:
        bluez.bus.add_message_handler(agent.heard)
        await _register(bluez, capability)
        yield bluez
    finally:
        await agent.questions.close()
        await bluez.close()


class _Answering:
    def __init__(self, bluez: Bluez, answers: Answers) -> None:
        self._bluez, self._answers = bluez, answers
        self.questions = Tasks()

    def heard(self, message: Message) -> Message | bool | None:
        if not _is_for_agents(message):
            return None
        if message.member in _NO_QUESTION:
            return Message.new_method_return(message)
        self.questions.leave(self._answer(message))
        return True

    async def _answer(self, message: Message) -> None:
        answer = await self._answers.answer(str(message.member), message.body[1:])
        self._bluez.bus.send(_refusal(message) if answer is None else _reply(message, answer))


async def _register(bluez: Bluez, capability: Capability) -> None:
    await bluez.call("/org/bluez", _MANAGER, "RegisterAgent", "os", [_PATH, _CAPABILITIES[capability]])


def _is_for_agents(message: Message) -> bool:
    return message.message_type is MessageType.METHOD_CALL and message.interface == _INTERFACE


def _reply(message: Message, answer: int) -> Message:
    if message.member == "RequestPasskey":
        return Message.new_method_return(message, "u", [answer])
    return Message.new_method_return(message)


def _refusal(message: Message) -> Message:
    return Message.new_error(message, "org.bluez.Error.Rejected", "benchrig does not pair")
