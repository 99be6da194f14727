"""The bonds of a station in a file of their own, which only its owner reads.

The file is read anew for each question and locked for each change, so that two programs at one station agree. One that
others could have read, or that is damaged, is refused and stays as it is.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import stat
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec

from benchrig.errors import StationError
from benchrig.files import cannot_write, held, write_whole
from benchrig.radio.bonds import Bond, Secret, StationIdentity, find, kept, without

FORMAT = 1
MOST_BYTES = 4 * 1024 * 1024
_MAY_ALL = 0o077  # what group and others could do
_ELSEWHERE = "set XDG_DATA_HOME to a folder that this user can write"
_AWAY = "move the file elsewhere and pair with the units anew; a station without a file gets a new one"


class _Content(msgspec.Struct, forbid_unknown_fields=True):
    format: int
    station: str
    identity: StationIdentity
    bonds: list[Bond] = []


def data_folder(environment: Mapping[str, str], platform: str = sys.platform) -> Path | None:
    """The user's folder for data of programs, as the XDG base directory specification has it, on Windows and macOS their
    own; None where none is the user's."""
    home = environment.get("HOME", "")
    own = {"win32": environment.get("LOCALAPPDATA", ""), "darwin": home and f"{home}/Library/Application Support"}
    otherwise = own.get(platform, home and f"{home}/.local/share")
    folders = (environment.get("XDG_DATA_HOME", ""), otherwise)
    return next((Path(folder) for folder in folders if folder and Path(folder).is_absolute()), None)


def store_path(station: str, environment: Mapping[str, str]) -> Path:
    """'…/benchrig/bonds/line-3-5f0e9a21.json': what a file system takes, and another for each station. StationError."""
    folder = data_folder(environment)
    if folder is None:
        raise StationError("no folder for the bonds of this station is known: the user has no home", advice=_ELSEWHERE)
    slug = re.sub(r"[^a-z0-9]+", "-", station.lower()).strip("-")[:40]
    mark = hashlib.sha256(station.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return folder / "benchrig" / "bonds" / f"{slug or 'station'}-{mark}.json"


def open_store(station: str, environment: Mapping[str, str] = os.environ) -> BondStore:
    """The store of a station, which is made where there is none. StationError when it cannot be used."""
    store = BondStore(store_path(station, environment), station)
    store.identity  # noqa: B018  whatever is wrong is said before anything is done
    return store


class BondStore:
    """Bonds that outlive the run."""

    def __init__(self, path: Path, station: str) -> None:
        self.path = path
        self.station = station

    @property
    def identity(self) -> StationIdentity:
        if os.path.lexists(self.path):  # unlike Path.exists, without an error where it may not be seen
            return self._read().identity
        self._make_folders()
        with self._locked():
            content = self._read()
            self._write(content)
        return content.identity

    def all(self) -> list[Bond]:
        return self._read().bonds

    def of(self, address: str, address_type: str) -> Bond | None:
        return find(self.all(), address, address_type)

    def keep(self, bond: Bond) -> None:
        self._change(lambda bonds: kept(bonds, bond))

    def forget(self, address: str, address_type: str) -> bool:
        return self._change(lambda bonds: without(bonds, address, address_type))

    def _change(self, change: Callable[[list[Bond]], list[Bond]]) -> bool:
        """Whether fewer are there after it."""
        self._make_folders()
        with self._locked():
            content = self._read()
            before, content.bonds = len(content.bonds), change(content.bonds)
            self._write(content)
        return len(content.bonds) < before

    def _make_folders(self) -> None:
        try:
            for folder in (self.path.parent.parent, self.path.parent):
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise cannot_write(self.path.parent, error, _ELSEWHERE) from error
        _check_private(self.path.parent)

    @contextlib.contextmanager
    def _locked(self) -> Iterator[None]:
        """The lock is a file beside it: the store itself is replaced."""
        beside = self.path.with_suffix(".lock")
        try:
            with open(beside, "ab", opener=_private) as lock:
                held(lock)
                yield
        except OSError as error:
            raise cannot_write(beside, error, _ELSEWHERE) from error

    def _read(self) -> _Content:
        """What the file holds; a new station where there is none."""
        try:
            with open(self.path, "rb", opener=_unlinked) as file:
                _check_private(self.path.parent)
                _check_private(self.path, os.fstat(file.fileno()))
                data = file.read(MOST_BYTES)
        except FileNotFoundError:
            return _Content(FORMAT, self.station, StationIdentity.new())
        except OSError as error:
            said = f"the bonds of this station cannot be read: {self.path}: {error.strerror or error}"
            raise StationError(said, advice="see that this is a file of this user's") from error
        return self._content(data)

    def _content(self, data: bytes) -> _Content:
        try:
            if (version := msgspec.json.decode(data, type=_Version).format) > FORMAT:
                raise self._refused(f"has format {version}, which a newer benchrig wrote", "use that one here too")
            content = msgspec.json.decode(data, type=_Content, dec_hook=_to_secret)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            # the text of the error holds places and no values
            raise self._refused(f"is damaged: {error}", _AWAY) from None
        if content.station != self.station:
            raise self._refused("belongs to another station", _AWAY)
        return content

    def _refused(self, why: str, advice: str) -> StationError:
        return StationError(f"the file with the bonds of this station {why}: {self.path}", advice=advice)

    def _write(self, content: _Content) -> None:
        data = msgspec.json.format(msgspec.json.encode(content, enc_hook=_from_secret))
        write_whole(self.path, data + b"\n", advice=_ELSEWHERE, mode=0o600)


class _Version(msgspec.Struct):
    format: int


def _check_private(path: Path, seen: os.stat_result | None = None) -> None:
    """See that nobody else reads the file or folder. Windows keeps a user's folders from others; modes say nothing there."""
    if sys.platform == "win32":
        return
    seen = seen or path.stat()
    if seen.st_uid != os.geteuid():
        raise StationError(
            f"the bonds of this station belong to another user: {path}",
            advice="run benchrig as that user, or set XDG_DATA_HOME to a folder of this user's",
        )
    if seen.st_mode & _MAY_ALL:
        mode, wanted = stat.S_IMODE(seen.st_mode), 0o700 if path.is_dir() else 0o600
        raise StationError(
            f"others can read the bonds of this station: {path} has mode {mode:04o}, expected {wanted:04o}",
            advice=f"run: chmod {wanted:o} '{path}'; if others may have read the keys, clear the bonds and pair anew",
        )


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _unlinked(path: str, flags: int) -> int:
    """Not what a link leads to: it may be anybody's. A pipe is no store to wait for."""
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))


def _from_secret(value: Any) -> str:
    assert isinstance(value, Secret)
    return value.hex()


def _to_secret(kind: type, value: Any) -> Any:
    if kind is not Secret or not isinstance(value, str):
        raise ValueError("expected octets as hex text")
    return Secret.fromhex(value)
