"""The agent that BlueZ has to ask before it pairs."""

from __future__ import annotations

from typing import Any

import pytest
from dbus_fast import Message, MessageType

from benchrig.errors import StationError
from benchrig.radio.bluez_agent import Agent

UNIT = "/org/bluez/hci0/dev_C0_00_00_00_00_01"
QUESTIONS = ["RequestAuthorization", "RequestConfirmation", "RequestPasskey", "DisplayPasskey", "RequestPinCode"]


class Bus:
    def __init__(self) -> None:
        self.sent: list[Message] = []
        self.handlers: list[Any] = []

    def add_message_handler(self, handler: Any) -> None:
        self.handlers.append(handler)

    def send(self, message: Message) -> None:
        self.sent.append(message)


class StandIn:
    """As much of BlueZ as the agent uses; `refuses` what it is asked to register."""

    def __init__(self, *, refuses: bool = False) -> None:
        self.bus, self.called, self.refuses = Bus(), [], refuses

    async def listen(self, rule: str) -> None:
        pass

    async def call(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        if self.refuses:
            raise StationError("no")
        self.called.append(member)


def asked(member: str, interface: str = "org.bluez.Agent1") -> Message:
    return Message(path="/org/benchrig/agent", interface=interface, member=member, signature="o", body=[UNIT],
                   serial=7, sender=":1.1")  # fmt: skip


async def agent(bluez: StandIn, heard: list[str]) -> Any:
    made = Agent(bluez, heard.append)  # type: ignore[arg-type]  # a stand-in
    await made.register()
    return bluez.bus.handlers[0]


@pytest.mark.parametrize("member", QUESTIONS)
async def test_every_pairing_is_refused_and_told_here_and_to_the_others(member: str) -> None:
    bluez, heard = StandIn(), []
    reply = (await agent(bluez, heard))(asked(member))
    assert (reply.message_type, reply.error_name) == (MessageType.ERROR, "org.bluez.Error.Rejected")
    assert heard == [UNIT]
    [signal] = bluez.bus.sent
    elsewhere: list[str] = []
    assert (await agent(StandIn(), elsewhere))(signal) is None
    assert elsewhere == [UNIT]


async def test_what_is_no_question_is_none() -> None:
    bluez, heard = StandIn(), []
    handler = await agent(bluez, heard)
    assert handler(asked("Cancel")).message_type is MessageType.METHOD_RETURN
    assert handler(asked("Get", "org.freedesktop.DBus.Properties")) is None
    assert (heard, bluez.bus.sent) == ([], [])


async def test_it_is_the_one_that_is_asked_and_a_system_may_refuse_it() -> None:
    bluez = StandIn()
    assert await Agent(bluez, print).register()  # type: ignore[arg-type]
    assert bluez.called == ["RegisterAgent", "RequestDefaultAgent"]
    assert not await Agent(StandIn(refuses=True), print).register()  # type: ignore[arg-type]
