"""Bonds in memory and in the file of a station."""

from __future__ import annotations

import json
import os
import stat
import threading
from pathlib import Path

import msgspec
import pytest

from benchrig.errors import StationError
from benchrig.radio.bond_store import BondStore, data_folder, open_store, store_path
from benchrig.radio.bonds import Bond, Bonds, Keys, LongTermKey, MemoryBonds, Secret, StationIdentity
from benchrig.values.address import kind_of_random

KEY, IRK = Secret(range(16)), Secret(range(16, 32))
BOND = Bond(
    "C0:11:22:33:44:55", "random", Keys(ltk=LongTermKey(KEY), irk=IRK), name="Box", method="passkey", authenticated=True
)


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    return {"XDG_DATA_HOME": str(tmp_path)}


@pytest.fixture(params=["memory", "file"])
def bonds(request: pytest.FixtureRequest, home: dict[str, str]) -> Bonds:
    return MemoryBonds() if request.param == "memory" else open_store("Line 3", home)


def test_one_bond_a_unit(bonds: Bonds) -> None:
    assert bonds.all() == []
    assert not bonds.forget(*BOND.unit)
    other = msgspec.structs.replace(BOND, address_type="public", name="same octets")
    newer = msgspec.structs.replace(BOND, key_size=7, keys=Keys(ltk_peripheral=LongTermKey(IRK, 5, Secret(b"\1" * 8))))
    for bond in (BOND, other, newer):
        bonds.keep(bond)
    assert bonds.of(*BOND.unit) == newer
    assert bonds.of(*other.unit) == other
    assert len(bonds.all()) == 2
    assert bonds.forget(*BOND.unit)
    assert bonds.of(*BOND.unit) is None
    assert bonds.all() == [other]


def test_nothing_shows_a_key() -> None:
    shown = f"{BOND!r} {BOND} {MemoryBonds().identity} {KEY} {KEY!r} {[KEY]} %s" % KEY
    assert KEY.hex() not in shown
    assert IRK.hex() not in shown
    assert repr(bytes(KEY)) not in shown


def test_identities() -> None:
    one, other, new = StationIdentity.simulated("a"), StationIdentity.simulated("b"), StationIdentity.new()
    assert one == StationIdentity.simulated("a")
    assert len({one, other, new, StationIdentity.new()}) == 4
    assert {kind_of_random(each.address) for each in (one, other, new)} == {"static"}


# --- the file


def test_a_store_lasts_and_nobody_else_reads_it(home: dict[str, str]) -> None:
    before = os.umask(0)
    try:
        store = open_store("Line 3", home)
        store.keep(BOND)
    finally:
        os.umask(before)
    again = open_store("Line 3", home)
    assert again.all() == [BOND]
    assert again.identity == store.identity
    assert open_store("line 3", home).identity != store.identity, "another station"
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (store.path, store.path.parent)}
    assert modes == {store.path.name: 0o600, "bonds": 0o700}
    assert {stat.S_IMODE(path.stat().st_mode) for path in store.path.parent.iterdir()} == {0o600}


@pytest.mark.parametrize(
    ("system", "environment", "folder"),
    [
        ("linux", {"HOME": "/home/me"}, "/home/me/.local/share"),
        ("linux", {"HOME": "/home/me", "XDG_DATA_HOME": "/data"}, "/data"),
        ("linux", {"HOME": "/home/me", "XDG_DATA_HOME": "data"}, "/home/me/.local/share"),
        ("darwin", {"HOME": "/Users/me"}, "/Users/me/Library/Application Support"),
        ("win32", {"HOME": "/home/me", "LOCALAPPDATA": "/local"}, "/local"),
        ("linux", {}, None),
    ],
)
def test_the_folder(system: str, environment: dict[str, str], folder: str | None) -> None:
    assert data_folder(environment, system) == (folder and Path(folder))


def test_names_of_stations_become_safe_names_of_files(home: dict[str, str]) -> None:
    names = ["", "../../etc", "Line 3", "LINE 3", "line-3", "\udcff", "ü" * 300]
    paths = [store_path(name, home) for name in names]
    assert {path.parent for path in paths} == {Path(home["XDG_DATA_HOME"], "benchrig", "bonds")}
    assert len({path.name.lower() for path in paths}) == len(names)
    assert all(len(path.name) < 80 for path in paths)
    with pytest.raises(StationError, match="no folder for the bonds") as caught:
        store_path("x", {})
    assert "XDG_DATA_HOME" in caught.value.advice


def refused(store: BondStore, why: str) -> None:
    """Every way to it is refused, with place and advice, and the file stays as it was."""
    before = store.path.read_bytes()
    for deed in (
        lambda: open_store(store.station, HERE),
        store.all,
        lambda: store.keep(BOND),
        lambda: store.forget("", ""),
    ):
        with pytest.raises(StationError, match=why) as caught:
            deed()
        assert str(store.path.parent) in caught.value.message
        assert caught.value.advice
        assert KEY.hex() not in f"{caught.value!r} {caught.value.__cause__!r} {caught.value.__context__!r}"
    assert store.path.read_bytes() == before


HERE: dict[str, str] = {}


@pytest.fixture
def store(home: dict[str, str]) -> BondStore:
    HERE.clear()
    HERE.update(home)
    store = open_store("Line 3", home)
    store.keep(BOND)
    return store


def test_a_store_that_others_can_read(store: BondStore) -> None:
    for path, mode, usual in (
        (store.path, 0o640, 0o600),
        (store.path, 0o604, 0o600),
        (store.path.parent, 0o750, 0o700),
    ):
        path.chmod(mode)
        refused(store, f"others can read .* mode {mode:04o}, expected {usual:04o}")
        path.chmod(usual)
    assert store.all() == [BOND]


def test_a_store_of_another_user(store: BondStore, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = os.geteuid()
    monkeypatch.setattr(os, "geteuid", lambda: mine + 1)
    refused(store, "belong to another user")


def test_a_store_behind_a_link(store: BondStore, tmp_path: Path) -> None:
    store.path.rename(tmp_path / "elsewhere.json")
    store.path.symlink_to(tmp_path / "elsewhere.json")
    refused(store, "cannot be read")


def broken() -> dict[str, bytes]:
    """What may stand in the file after an accident, each with the place that is told."""
    good = {
        "format": 1, "station": "Line 3", "identity": {"address": "C0:00:00:00:00:01", "irk": "00" * 16},
        "bonds": [{"address": "C0:11:22:33:44:55", "address_type": "random", "keys": {"irk": KEY.hex()}}],
    }  # fmt: skip

    def changed(**more: object) -> bytes:
        return json.dumps({**good, **more}).encode()

    bond = good["bonds"][0]  # type: ignore[index]
    return {
        "damaged: .*truncated": changed()[:-9],
        "damaged: .*": b"",
        r"damaged: .*bonds\[0\].*irk": changed(bonds=[{**bond, "keys": {"irk": KEY.hex() + "0"}}]),
        r"damaged: .*key of 16 octets": changed(bonds=[{**bond, "keys": {"irk": KEY.hex() + "00"}}]),
        r"damaged: .*is not an address": changed(identity={"address": "C0", "irk": "00" * 16}),
        r"damaged: .*unknown field": changed(more=1),
        "has format 2, which a newer": changed(format=2, other=3),
        "belongs to another station": changed(station="line 4"),
        "damaged: .*utf-8": b'{"format": 1, "station": "\xff"}',
    }


@pytest.mark.parametrize("why", broken())
def test_a_damaged_store_is_refused_and_never_written_over(store: BondStore, why: str) -> None:
    store.path.write_bytes(broken()[why])
    refused(store, why)


def test_a_store_that_cannot_be_written_stays(store: BondStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(StationError, match="cannot be written: No space left"):
        store.forget(*BOND.unit)
    assert store.all() == [BOND]
    assert {path.suffix for path in store.path.parent.iterdir()} == {".json", ".lock"}


def test_two_at_once_lose_nothing(store: BondStore) -> None:
    def keep(first: int) -> None:
        for number in range(first, first + 20):
            store.keep(msgspec.structs.replace(BOND, address=f"C0:00:00:00:00:{number:02X}"))

    threads = [threading.Thread(target=keep, args=(first,)) for first in (0, 20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.all()) == 41


def test_a_store_that_may_not_be_seen(home: dict[str, str]) -> None:
    """The system refuses even to say whether it is there, as in a folder of others: here the name is too long."""
    with pytest.raises(StationError, match="cannot be written: File name too long"):
        open_store("line 3", home | {"XDG_DATA_HOME": f"/{'x' * 300}"})


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in the file system")
def test_a_pipe_is_no_store_to_wait_for(store: BondStore) -> None:
    store.path.unlink()
    os.mkfifo(store.path, 0o600)
    with pytest.raises(StationError, match="is damaged"):
        store.all()
