"""Pairing over BlueZ: what it is asked and answers, what follows from that, and whose bonds go; the real one is in
tests/host_stack."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import StationError
from benchrig.radio import bluez_pairing
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez_changes import Changes
from benchrig.radio.bluez_kernel import Key
from benchrig.radio.security import Encrypted, Level, OobData, Paired, Wish
from tests.radio.bluez import UNIT
from tests.radio.pairing_bluez import PATH, Absent, Desk, PairingBluez, Person, Silent, claimed

OTHER = "C0:00:00:00:00:02"
TYPES, SHOWS = ("RequestPasskey", "", []), ("DisplayPasskey", "uq", [123456, 0])
COMPARES, AGREES = ("RequestConfirmation", "u", [42]), ("RequestAuthorization", "", [])
KEYBOARD, ALL = Wish("keyboard", mitm=True), Wish("keyboard and display", mitm=True)
PASSKEY = Paired(method="passkey", bonded=True)


@pytest.fixture
async def claim(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[AdapterLock]:
    monkeypatch.setattr(bluez_pairing, "SETTLED_WITHIN", 0.01)
    monkeypatch.setattr("benchrig.radio.bluez_agent.Bluez", PairingBluez)
    lock = await claimed(tmp_path, monkeypatch)
    yield lock
    lock.release()


PAIRS = [
    # what is asked, as what the bench pairs, who answers, what comes of it, what it answered
    ([], Wish(), Person(), Paired(method="just works", authenticated=False, bonded=True), None),
    ([AGREES], ALL, Person(), Paired(method="just works", authenticated=False, bonded=True), []),
    ([TYPES], KEYBOARD, Person(0), PASSKEY, [0]),
    ([SHOWS, SHOWS], ALL, Person(), PASSKEY, []),
    ([COMPARES], ALL, Person(), Paired(method="numeric comparison", secure_connections=True, bonded=True), []),
    ([TYPES], KEYBOARD, Person(None), Paired("passkey entry failed", "bench", "passkey"), ["benchrig does not pair"]),
    ([COMPARES], ALL, Person(same=False), Paired("numeric comparison failed", "bench", "numeric comparison"), ["benchrig does not pair"]),
]  # fmt: skip


@pytest.mark.parametrize(("questions", "wish", "person", "paired", "answer"), PAIRS)
async def test_what_it_is_asked_tells_the_method(
    questions: Any, wish: Wish, person: Person, paired: Paired, answer: Any, claim: AdapterLock
) -> None:
    desk = Desk(PairingBluez(*questions), claim)
    assert await desk.security.pair(wish, person) == paired
    assert (desk.security.is_bonded, desk.security.is_weak) == (bool(paired.bonded), paired.authenticated is False)
    said = [
        body
        for member, body in filter(lambda each: isinstance(each, tuple), desk.bluez.called)
        if "Request" in member or "Display" in member
    ]
    assert (said[-1] if said else None) == answer
    assert person.shown == [123456] * (SHOWS in questions)
    capabilities = {"none": "NoInputNoOutput", "keyboard": "KeyboardOnly", "keyboard and display": "KeyboardDisplay"}
    assert [each[1] for each in desk.bluez.called if each[0] == "RegisterAgent"] == [capabilities[wish.capability]]
    assert "RequestDefaultAgent" not in desk.bluez.called
    assert claim.paired == {UNIT}


FAILS = [
    # BlueZ's answer, whether the link goes, what the kernel tells, what comes of it
    ("AuthenticationFailed", True, {}, Paired("not told")),
    ("AuthenticationFailed", False, {}, Paired("not told", "bench")),
    ("AuthenticationFailed", True, {"failed": ("repeated attempts", "device")}, Paired("repeated attempts", "device")),
    ("AuthenticationFailed", True, {"refused": 0x3D}, Paired("encryption failed")),
    ("AuthenticationFailed", True, {"ended": 3}, Paired("link lost")),
    ("AuthenticationFailed", True, {"ended": 4}, Paired("not told")),
    ("AuthenticationCanceled", True, {}, Paired("link lost")),
    ("AuthenticationCanceled", True, {"last_at": -60.0}, Paired("timeout", "device")),
]


@pytest.mark.parametrize(("refusal", "gone", "told", "paired"), FAILS)
async def test_a_failure_is_told_as_far_as_it_is_known(
    refusal: str, gone: bool, told: dict[str, Any], paired: Paired, claim: AdapterLock, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(PairingBluez(refusal=refusal), claim)
    for name, value in told.items():
        setattr(desk.kernel.heard, name, value)
    if "last_at" in told:
        monkeypatch.setattr(bluez_pairing, "SILENCE", 0.0)
    if gone:
        desk.link.lost.set()
    assert await desk.security.pair(Wish(), Person()) == paired
    assert desk.security.level is Level.NO_SECURITY


@pytest.mark.parametrize(
    ("told", "gone", "is_raised"),
    [
        (("repeated attempts", "device"), True, True),
        (None, True, True),
        (None, False, False),
        (("confirm value failed", "device"), True, False),
    ],
)
async def test_a_unit_that_waits_since_linux_began_to_pair_is_not_to_blame(
    told: Any, gone: bool, is_raised: bool, claim: AdapterLock
) -> None:
    desk = Desk(PairingBluez(refusal="AuthenticationFailed"), claim)
    desk.kernel.heard.failed = told
    if gone:
        desk.link.lost.set()
    assert (await desk.security.pair(KEYBOARD, Person(1))).failure == (told or ("not told",))[0]
    desk.shared.refused_unasked.add(UNIT)
    if not is_raised:
        assert (await desk.security.pair(KEYBOARD, Person(1))).failure == (told or ("not told",))[0]
        return
    with pytest.raises(StationError, match="asks for security itself"):
        await desk.security.pair(KEYBOARD, Person(1))
    if told is None:  # it has gone on after the request
        desk.bluez.questions = (TYPES,)
        assert (await desk.security.pair(KEYBOARD, Person(1))).failure == "not told"


async def test_what_is_no_answer_of_the_unit_is_an_error(claim: AdapterLock) -> None:
    for bluez, person, words in (
        (PairingBluez(refusal="InProgress"), Person(), "for another program"),
        (PairingBluez(refusal="NotReady"), Person(), "NotReady"),
        (PairingBluez(TYPES), Absent(), "nobody is there"),
        (PairingBluez(SHOWS), Person(chosen=7), "shows a random passkey"),
    ):
        with pytest.raises(StationError, match=words):
            await Desk(bluez, claim).security.pair(ALL, person)


async def test_a_call_that_is_cancelled_leaves_no_pairing(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(), claim)
    desk.bluez.hangs = True
    task = asyncio.ensure_future(desk.security.pair(Wish(bonding=False), Person()))
    while "Pair" not in desk.bluez.called:
        await asyncio.sleep(0)
    assert claim.changed == {"bonds on"}
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert "CancelPairing" in desk.bluez.called
    assert (desk.bluez.settings["Pairable"], claim.changed) == (True, set())


async def test_a_paired_unit_is_never_paired_with_again(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(Paired=True), claim)
    for attempt in (desk.security.pair(Wish(), Person()), desk.security.forget()):
        with pytest.raises(StationError, match="before this run") as raised:
            await attempt
        assert f"bluetoothctl remove {UNIT}" in raised.value.advice
    assert (desk.bluez.removed, "Pair" in desk.bluez.called) == ([], False)
    claim.paired.add(UNIT)
    assert (await desk.security.pair(Wish(), Person())).bonded
    assert (desk.renewed, desk.bluez.removed) == (1, ["01"])
    await desk.security.forget()
    assert (desk.bluez.removed, desk.link.is_up, claim.paired) == (["01", "01"], False, set())
    assert not desk.security.is_bonded


async def test_after_a_protected_attempt_only_a_new_link_pairs_without(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(TYPES), claim)
    assert (await desk.security.pair(KEYBOARD, Person(None))).failure == "passkey entry failed"
    assert (await desk.security.pair(KEYBOARD, Person(None))).failure == "passkey entry failed"
    desk.bluez.questions = ()
    assert desk.renewed == 0
    assert (await desk.security.pair(Wish(), Person())).failure == "none"
    assert desk.renewed == 1


IMPOSSIBLE = [
    (Wish(key_size=7), "keys of 16 bytes"),
    (Wish(mitm=True), "man in the middle"),
    (Wish("keyboard"), "man in the middle"),
    (Wish(oob=OobData(key=bytes(16))), "Secure Connections only"),
    (Wish(pairing="legacy"), "CAP_NET_ADMIN"),
    (Wish(pairing="secure connections"), "CAP_NET_ADMIN"),
    (Wish(oob=OobData(bytes(16), bytes(16))), "out of band"),
]


@pytest.mark.parametrize(("wish", "words"), IMPOSSIBLE)
async def test_what_linux_cannot_is_said_before_anything_is_sent(wish: Wish, words: str, claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(), claim)
    with pytest.raises(StationError, match=words):
        await desk.security.pair(wish, Person())
    assert desk.bluez.called == []


async def test_who_may_manage_the_adapter_chooses_and_learns_more(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(), claim, manages=True)
    desk.kernel.heard.key = Key(secure_connections=False, authenticated=False, size=7)
    paired = await desk.security.pair(Wish(pairing="legacy"), Person())
    assert (paired.secure_connections, paired.key_size) == (False, 7)
    set_secure = [parameters for opcode, parameters in desk.kernel.commands if opcode == 0x2D]
    assert (set_secure, claim.changed) == ([b"\0", b"\1"], set())
    assert await desk.security.encrypt() == Encrypted("none", False, False, 7)
    assert desk.security.level is Level.ENCRYPTED
    told = OobData(random=bytes(range(16)), confirm=bytes(range(16, 32)))
    desk.kernel.heard.key = Key(secure_connections=True, authenticated=True, size=16)
    assert (await desk.security.pair(Wish(mitm=True, oob=told), Person())).method == "out of band"
    unit = bytes.fromhex("0100000000C0 01")
    oob = [(opcode, parameters) for opcode, parameters in desk.kernel.commands if opcode in (0x21, 0x22)]
    assert oob == [(0x21, unit + bytes(32) + told.confirm[::-1] + told.random[::-1]), (0x22, bytes(7))]
    # a key of legacy pairing is none that the bench was to take
    weak = Desk(PairingBluez(), claim, manages=True)
    weak.kernel.heard.key = Key(secure_connections=False, authenticated=False, size=16)
    assert await weak.security.pair(Wish(pairing="secure connections"), Person()) == Paired(
        "authentication requirements", "bench"
    )
    assert (weak.bluez.removed, weak.link.is_up) == (["01"], False)
    # nor is one that everybody knows
    known = Desk(PairingBluez(), claim, manages=True)
    known.kernel.heard.key = Key(secure_connections=True, authenticated=False, size=16, debug=True)
    assert await known.security.pair(Wish(), Person()) == Paired("debug key", "device")
    assert (known.bluez.removed, known.link.is_up) == (["01"], False)


async def test_a_setting_that_a_dead_benchrig_has_left_is_put_back(claim: AdapterLock) -> None:
    bluez, kernel = PairingBluez(), Silent()
    bluez.settings["Pairable"] = False
    claim.changed |= {"bonds on", "secure connections on"}
    await Changes(bluez, kernel, claim).recover()  # type: ignore[arg-type]
    assert (bluez.called, claim.changed) == ([("Pairable", True)], {"secure connections on"})
    with pytest.raises(StationError, match="left Secure Connections off"):
        await Desk(bluez, claim).security.pair(Wish(), Person())
    assert "Pair" not in bluez.called
    kernel.manages = True
    await Changes(bluez, kernel, claim).recover()  # type: ignore[arg-type]
    assert ([parameters for _, parameters in kernel.commands], claim.changed) == ([b"\1"], set())


async def test_the_bonds_of_this_bench_go_and_no_others(claim: AdapterLock, tmp_path: Path) -> None:
    bluez = PairingBluez(Name="lock", Paired=True)
    bluez.add(OTHER, Paired=True)
    claim.paired.add(UNIT)
    claim.release()
    left = await AdapterLock.take("hci0", 0)
    desk = Desk(bluez, left)
    assert await desk.bonds.clear() == ["lock"]
    assert (bluez.removed, left.paired, desk.bonds.is_gone(UNIT)) == (["01"], set(), True)
    with pytest.raises(StationError, match="leaves that bond alone"):
        await desk.bonds.remove((await bluez.devices())[0])
    claim._lock = left._lock


async def test_a_reading_that_linux_hides_is_not_judged(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(), claim)
    await desk.security.pair(Wish(), Person())
    names = ("method", "authenticated", "bonded", "secure_connections", "key_size", "identity_address", "failure")
    hidden = [name for name in names if desk.shared.unjudged("pair", name)]
    assert hidden == ["secure_connections", "key_size", "identity_address"]
    # of a method that protects it does not follow what the key is worth: everybody knows that of the debug mode
    protected = Desk(PairingBluez(TYPES), claim)
    assert (await protected.security.pair(KEYBOARD, Person(0))).authenticated is None
    assert "CAP_NET_ADMIN" in protected.shared.unjudged("pair", "authenticated")
    managing = Desk(PairingBluez(TYPES), claim, manages=True)
    assert (await managing.security.pair(KEYBOARD, Person(0))).authenticated is True
    await desk.security.encrypt()
    assert "CAP_NET_ADMIN" in desk.shared.unjudged("encrypt", "key_size")
    assert desk.shared.unjudged("read", "value") == ""
    hiding = Desk(PairingBluez(TYPES, refusal="AuthenticationFailed"), claim)
    assert (await hiding.security.pair(KEYBOARD, Person(1))).method == "passkey"
    assert ["CAP_NET_RAW" in hiding.shared.unjudged("pair", name) for name in ("failure", "failed_by", "method")] == [
        True,
        True,
        False,
    ]


async def test_a_key_that_the_unit_refused_is_told_by_encrypt(claim: AdapterLock) -> None:
    desk = Desk(PairingBluez(), claim)
    with pytest.raises(StationError, match="no key"):
        await desk.security.encrypt()
    desk.bonds.refused[UNIT] = "another key"
    assert (await desk.security.encrypt(), desk.security.is_bonded) == (Encrypted("another key"), True)
    desk.link.lost.set()
    await desk.security.forget()
    assert (await desk.security.encrypt(), desk.security.is_bonded) == (Encrypted("link lost"), False)
    assert PATH in desk.bluez.there
