"""The lines typed in earlier sessions, one a line of a file that only its owner reads: what is written to a device can
be secret. A file that cannot be read or written is no trouble."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath, PureWindowsPath

from prompt_toolkit.history import History

KEPT = 1000


def history_file(environment: Mapping[str, str]) -> Path | None:
    """In the user's folder for state, as the XDG base directory specification has it, on Windows in that for
    applications; None where no folder is the user's: the current one is anybody's."""
    home = environment.get("HOME", "")
    folders = (
        environment.get("XDG_STATE_HOME", ""),
        home and f"{home}/.local/state",
        environment.get("LOCALAPPDATA", ""),
    )
    base = next((Path(folder) for folder in folders if folder and _is_absolute(folder)), None)
    return base / "benchrig" / "session_history" if base else None


def _is_absolute(folder: str) -> bool:
    return PurePosixPath(folder).is_absolute() or PureWindowsPath(folder).is_absolute()


class LineHistory(History):
    """The newest lines of the file."""

    def __init__(self, path: Path | None) -> None:
        super().__init__()
        self.path = path

    def load_history_strings(self) -> Iterable[str]:
        """The newest first. A file that has grown is cut."""
        if self.path is None:
            return []
        try:
            lines = self.path.read_text(encoding="utf-8", errors="replace").splitlines()
        except OSError:
            return []
        if len(lines) > 2 * KEPT:
            lines = lines[-KEPT:]
            with contextlib.suppress(OSError):
                self.path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return lines[: -KEPT - 1 : -1]

    def store_string(self, string: str) -> None:
        if self.path is None:
            return
        with contextlib.suppress(OSError):
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with open(self.path, "a", encoding="utf-8", errors="replace", opener=_private) as file:
                file.writelines(f"{line}\n" for line in string.splitlines())


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
