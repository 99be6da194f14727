"""Connecting to a unit that Linux has a key of: a key that it refuses is told from a link that was lost."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import ConnectFailed, ConnectTimeout
from benchrig.radio import bluez_bonded
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez import DEVICE, BluezRefusal
from benchrig.radio.bluez_bonded import Refused, connected
from tests.radio.pairing_bluez import PATH, Desk, PairingBluez, claimed

ABORTED, BUSY = "le-connection-abort-by-local", "Operation already in progress"


@pytest.fixture
async def claim(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[AdapterLock]:
    monkeypatch.setattr(bluez_bonded, "LOOK_EVERY", 0)
    lock = await claimed(tmp_path, monkeypatch)
    yield lock
    lock.release()


class Ends(PairingBluez):
    """`ends` says for each attempt what comes of it: an error of BlueZ, 'drops', 'hangs', or 'there'."""

    def __init__(self, *ends: str) -> None:
        super().__init__(Paired=True)
        self.ends = list(ends)

    async def call(self, path: str, interface: str, member: str, *_: Any, **__: Any) -> Any:
        self.called.append(member)
        if member != "Connect":
            return
        match self.ends.pop(0):
            case "hangs":
                await asyncio.Event().wait()
            case "drops" | "there" as end:
                self.there[PATH][DEVICE] |= {"Connected": end == "there", "ServicesResolved": end == "there"}
            case error:
                raise BluezRefusal("Connect", "org.bluez.Error.Failed", error)


async def outcome(claim: AdapterLock, *ends: str, within: float = 5.0, **told: Any) -> tuple[Any, Ends]:
    bluez = Ends(*ends)
    desk = Desk(bluez, claim)
    desk.kernel.sees = told.pop("sees", False)
    for name, value in told.items():
        setattr(desk.kernel.heard, name, value)
    [device] = await bluez.devices()

    async def connect() -> Any:
        return desk.link

    deadline = asyncio.get_running_loop().time() + within
    found = await connected(desk.shared, device, connect, deadline, asyncio.Lock())
    return ("link", found[1]) if isinstance(found, tuple) else found, bluez


CASES = [
    # what comes of the attempts, what the kernel tells, what is known then
    (["there"], {}, ("link", True)),
    (["there"], {"encrypted": False}, ("link", False)),
    (["drops", BUSY, BUSY, "there"], {}, ("link", True)),
    (["drops", "drops", "there"], {}, ("link", True)),
    (["le-connection-create-socket"], {}, ("link", True)),
    (["drops"] * 3, {}, Refused("no key", proven=False)),
    ([ABORTED] * 3, {}, Refused("another key", proven=False)),
    (["drops"], {"ended": 4}, Refused("no key", proven=True)),
    (["drops"], {"refused": 0x06, "sees": True}, Refused("no key", proven=True)),
    ([ABORTED], {"refused": 0x3D, "sees": True}, Refused("another key", proven=True)),
]


@pytest.mark.parametrize(("ends", "told", "known"), CASES)
async def test_what_a_connection_with_a_key_comes_to(
    ends: list[str], told: dict[str, Any], known: Any, claim: AdapterLock
) -> None:
    found, bluez = await outcome(claim, *ends, **told)
    assert found == known
    assert bluez.called.count("Connect") == len(ends)


async def test_a_link_that_was_lost_is_not_the_keys_fault_where_that_would_be_seen(claim: AdapterLock) -> None:
    with pytest.raises(ConnectFailed, match="was lost"):
        await outcome(claim, *["drops"] * 3, sees=True)


async def test_a_unit_that_is_away_takes_no_longer_than_it_may(claim: AdapterLock) -> None:
    with pytest.raises(ConnectTimeout):
        await outcome(claim, "hangs", within=0.01)
