"""The lines typed in earlier sessions, one a line of a file that only its owner reads: what is written to a device can
be secret. A file that cannot be read or written is no trouble."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from prompt_toolkit.history import History

KEPT = 1000


def history_file(environment: Mapping[str, str]) -> Path:
    """In the user's folder for state, as the XDG base directory specification has it."""
    state = environment.get("XDG_STATE_HOME", "")
    base = Path(state) if state.startswith("/") else Path(environment.get("HOME", "")) / ".local" / "state"
    return base / "benchrig" / "session_history"


class LineHistory(History):
    """The newest lines of the file."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def load_history_strings(self) -> Iterable[str]:
        """The newest first. A file that has grown is cut."""
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
        with contextlib.suppress(OSError):
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with open(self.path, "a", encoding="utf-8", errors="replace", opener=_private) as file:
                file.writelines(f"{line}\n" for line in string.splitlines())


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
