"""Where a history is: a file of SQLite, or a database of PostgreSQL by its URL. A password is never part of what is shown."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from benchrig.errors import UsageError

# In the folder of results.
FILE = "history.sqlite"

_SCHEME = re.compile(r"([a-zA-Z][\w+.-]*)://(.*)", re.DOTALL)
_SERVERS = ("postgresql", "postgres")
_PASSWORD = re.compile(r"(//?[^:@/\s]*):\S*@")
_WORD = re.compile(r"(password\s*=\s*)[^&\s]*", re.IGNORECASE)
# What is meant as a URL, or as the words of a connection, and is neither a URL nor the name of a file.
_SLIP = re.compile(r"(postgres(ql)?\b.*:|//).*@.*|.*\bpassword\s*=.*", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True)
class Place:
    """`shown` is for people: without a password. `file` is None for a server."""

    shown: str
    file: Path | None = None
    url: str = field(default="", repr=False)

    @property
    def name(self) -> str:
        """The same for all who mean this history, whichever way they name it."""
        return str(self.file.resolve()) if self.file is not None else self.shown.replace(":***@", "@")

    @property
    def base(self) -> Path | None:
        """The folder that folders of runs are named from, where there is one."""
        return self.file.absolute().parent if self.file is not None else None


def place_of(text: str) -> Place:
    """The place that these words name. UsageError."""
    found = _SCHEME.fullmatch(text)
    if found is None:
        is_file = text and not _SLIP.fullmatch(text)
        return Place(text, Path(text).expanduser()) if is_file else _refuse(masked(text))
    scheme, rest = found[1].lower().partition("+")[0], found[2]
    if scheme == "sqlite":
        return place_of(rest.removeprefix("/"))
    if scheme not in _SERVERS or not rest:
        return _refuse(masked(text))
    if "@" in rest.partition("?")[0].rpartition("@")[0]:
        return _refuse(masked(text), "write %40 for an @ in a password")
    return Place(masked(text), url=f"postgresql://{rest}")


def masked(text: str) -> str:
    """Without the passwords of the URLs in it."""
    return _WORD.sub(r"\1***", _PASSWORD.sub(r"\1:***@", text))


def has_password(text: str) -> bool:
    return masked(text) != text


def _refuse(
    text: str, advice: str = "write a file (results/history.sqlite), or postgresql://USER@HOST/DATABASE"
) -> Place:
    raise UsageError(
        f"expected a file or the URL of a database for the history, found '{text}'",
        advice=advice,
    )
