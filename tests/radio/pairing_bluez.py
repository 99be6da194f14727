"""A stand-in for BlueZ that pairs: what it asks the agent, how it answers, and what was done to it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

from dbus_fast import Message, MessageType

from benchrig.errors import StationError
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez import ADAPTER, DEVICE, BluezRefusal
from benchrig.radio.bluez_bonds import BluezBonds
from benchrig.radio.bluez_changes import Changes
from benchrig.radio.bluez_kernel import Heard
from benchrig.radio.bluez_pairing import BluezSecurity
from benchrig.radio.bluez_security import Security
from tests.radio.bluez import UNIT, StandIn

PATH = f"/org/bluez/hci0/dev_{UNIT.replace(':', '_')}"


class Bus:
    """`replies` are what was sent over it."""

    def __init__(self) -> None:
        self.sent: asyncio.Queue[Message] = asyncio.Queue()
        self.handlers: list[Callable[[Message], Any]] = []

    def add_message_handler(self, handler: Callable[[Message], Any]) -> None:
        self.handlers.append(handler)

    def send(self, message: Message) -> None:
        self.sent.put_nowait(message)


class PairingBluez(StandIn):
    """Asks `questions`, (member, signature, values), one after the other, until one is refused; ends with `refusal`, or is paired.
    `called` are the members of its objects in order."""

    there_is: ClassVar[PairingBluez]

    def __init__(self, *questions: tuple[str, str, list[Any]], refusal: str = "", **device: Any) -> None:
        super().__init__({"address": UNIT, **device})
        self.bus: Any = Bus()
        self.questions, self.refusal = questions, refusal
        self.called: list[Any] = []
        self.settings = {"Powered": True, "Pairable": True}
        self.hangs = False

    @classmethod
    async def reach(cls) -> PairingBluez:
        """The one of the test."""
        return cls.there_is

    async def objects(self) -> Any:
        return {**await super().objects(), self.path: {ADAPTER: self.settings}}

    async def listen(self, rule: str) -> None:
        pass

    async def set_adapter(self, name: str, value: bool) -> None:
        self.called.append((name, value))
        self.settings[name] = value

    async def call(
        self, path: str, interface: str, member: str, signature: str = "", body: Any = None, **_: Any
    ) -> Any:
        self.called.append((member, body[1]) if member == "RegisterAgent" else member)
        if member == "Pair":
            await self._pair()

    async def _pair(self) -> None:
        if self.hangs:
            await asyncio.Event().wait()
        for question in self.questions:
            if not await self._ask(*question):
                raise BluezRefusal("Pair", "org.bluez.Error.AuthenticationFailed")
        if self.refusal:
            raise BluezRefusal("Pair", f"org.bluez.Error.{self.refusal}")
        self.there[PATH][DEVICE] |= {"Paired": True, "Bonded": self.settings["Pairable"]}

    async def _ask(self, member: str, signature: str, values: list[Any]) -> bool:
        message = Message(path="/org/benchrig/agent", interface="org.bluez.Agent1", member=member, signature="o" + signature,
                          body=[PATH, *values], serial=7, sender=":1.1")  # fmt: skip
        assert self.bus.handlers[-1](message) is True
        reply = await self.bus.sent.get()
        self.called.append((member, reply.body))
        return bool(reply.message_type is MessageType.METHOD_RETURN)


class Silent:
    """A kernel that tells this user nothing; with `manages` it takes commands."""

    sees = False

    def __init__(self, *, manages: bool = False) -> None:
        self.manages, self.heard, self.commands = manages, Heard(UNIT), []

    def listen(self, address: str) -> Heard:
        return self.heard

    def catch_up(self) -> None:
        pass

    def close(self) -> None:
        pass

    async def command(self, opcode: int, parameters: bytes = b"") -> bytes:
        self.commands.append((opcode, parameters))
        return bytes(13) + (1 << 11).to_bytes(4, "little")


class SomeLink:
    """As much of a link as its security uses."""

    address = UNIT

    def __init__(self) -> None:
        self.lost = asyncio.Event()

    @property
    def is_up(self) -> bool:
        return not self.lost.is_set()

    async def disconnect(self) -> None:
        self.lost.set()


class Desk:
    """The security of one link to the unit, and everything below it."""

    def __init__(self, bluez: PairingBluez, claim: AdapterLock, *, manages: bool = False) -> None:
        self.bluez, self.claim, self.renewed = bluez, claim, 0
        PairingBluez.there_is = bluez
        self.kernel: Any = Silent(manages=manages)
        self.bonds = BluezBonds(bluez, claim)
        self.shared = Security(bluez, self.kernel, self.bonds, Changes(bluez, self.kernel, claim), self._renew)
        self.link: Any = SomeLink()
        self.security = BluezSecurity(self.shared, self.link, PATH, encrypted=False)

    async def _renew(self, link: Any, device: Any) -> None:
        self.renewed += 1
        await self.bonds.remove(device)
        self.bluez.add()


async def claimed(folder: Path, monkeypatch: Any) -> AdapterLock:
    monkeypatch.setattr("benchrig.radio.lock_file.folder", lambda: folder)
    return await AdapterLock.take("hci0", 0)


class Person:
    """Who answers for the bench."""

    def __init__(self, passkey: int | None = None, same: bool = True, chosen: int | None = None) -> None:
        self.passkey, self.same, self._chosen, self.shown = passkey, same, chosen, []

    async def enter(self) -> int | None:
        return self.passkey

    def chosen(self) -> int | None:
        return self._chosen

    async def show(self, passkey: int) -> None:
        self.shown.append(passkey)

    async def compare(self, number: int) -> bool:
        return self.same


class Absent(Person):
    async def enter(self) -> int | None:
        raise StationError("nobody is there")
