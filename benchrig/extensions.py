"""What other packages bring by their entry points. Nothing of them is imported before it is used.

Metadata of all installed packages is read for that, which takes milliseconds: whoever asks has met a word that benchrig
does not have.
"""

from __future__ import annotations

import re
import traceback
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeVar

from benchrig.errors import StationError

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

T = TypeVar("T")
What: TypeAlias = Literal["step kind", "report", "rules"]

GROUPS: dict[What, str] = {
    "step kind": "benchrig.steps",
    "report": "benchrig.reports",
    "rules": "benchrig.findings",
}
# In `forbid` of a station file: all packages, or one of this name.
ALL, ONE = "packages", "package:"


class Unusable(StationError):
    """Something of another package that cannot be imported, or does not fit."""


@dataclass(frozen=True)
class Extension:
    """One thing that another package brings, by the name of its entry point."""

    what: What
    name: str
    package: str
    version: str
    point: EntryPoint = field(repr=False, compare=False)

    @property
    def source(self) -> str:
        return f"{self.package} {self.version}"

    @property
    def called(self) -> str:
        return f"{self.what} '{self.name}' of {self.source}"

    def load(self) -> Any:
        """What the entry point names. Unusable."""
        try:
            return self.point.load()
        except ModuleNotFoundError as error:
            raise self.unusable([str(error)], f"install what {self.package} needs, or remove it") from error
        except (Exception, SystemExit) as error:
            raise self.unusable([_raised(error)]) from error

    def checked(self, misfits: Callable[[Extension, Any], Iterable[str]]) -> Any:
        """The same where nothing keeps it from fitting. Unusable with all that does; StationError where it breaks off."""
        found = self.load()
        try:
            wrong = [*misfits(self, found)]
        except Exception as error:
            raise self.broke_off(error) from error
        if wrong:
            raise self.unusable(wrong)
        return found

    def unusable(self, reasons: Iterable[str], advice: str = "") -> Unusable:
        advice = advice or f"install another version of {self.package}, or remove it"
        return Unusable(f"{self.called} cannot be used: {'; '.join(reasons)}", advice=advice)

    def broke_off(self, error: BaseException) -> StationError:
        """An exception that nobody expects, from code of the package."""
        return StationError(f"{self.called} raised {_raised(error)}", advice=f"tell those who make {self.package}")


def _raised(error: BaseException) -> str:
    """'ValueError: no message (scale.py:12)': with the last line that is neither Python's nor benchrig's."""
    frames = traceback.extract_tb(error.__traceback__)
    theirs = [f"{Path(each.filename).name}:{each.lineno}" for each in frames if _is_theirs(each.filename)]
    return f"{type(error).__name__}: {str(error) or 'no message'}" + (f" ({theirs[-1]})" if theirs else "")


_PYTHON, _OURS = Path(traceback.__file__).parent, Path(__file__).parent


def _is_theirs(file: str) -> bool:
    path = Path(file)
    of_python = path.is_relative_to(_PYTHON) and not {"site-packages", "dist-packages"} & {*path.parts}
    return not (file.startswith("<") or of_python or path.is_relative_to(_OURS))


@cache
def extensions(what: What) -> tuple[Extension, ...]:
    """All of one kind that are installed, by name."""
    from importlib.metadata import entry_points

    found = {_extension(what, point) for point in entry_points(group=GROUPS[what])}
    return tuple(sorted(found, key=lambda each: (each.name, each.package)))


def _extension(what: What, point: EntryPoint) -> Extension:
    about = point.dist.metadata if point.dist is not None else None
    # the metadata of a package may lack anything
    package, version = (str(about[key]) if about and key in about else "unknown" for key in ("Name", "Version"))
    return Extension(what, point.name, package, version, point)


def sole(what: What, name: str) -> Extension | None:
    """The one of this name. Unusable where several packages bring it."""
    found = [each for each in extensions(what) if each.name == name]
    if len(found) > 1:
        packages = " and ".join(each.source for each in found)
        raise Unusable(f"{what} '{name}' comes from {packages}", advice="remove all but one of these packages")
    return found[0] if found else None


def usable(
    what: What, checked: Callable[[Extension], T], forbid: Sequence[str] = ()
) -> tuple[dict[Extension, T], dict[str, Unusable]]:
    """Those that can be used where the station allows them, and by name what is wrong with the others."""
    found, wrong = dict[Extension, T](), dict[str, Unusable]()
    allowed = (each for each in extensions(what) if not is_forbidden(each.package, forbid))
    for name in dict.fromkeys(each.name for each in allowed):
        try:
            if (extension := sole(what, name)) is not None:
                found[extension] = checked(extension)
        except Unusable as error:
            wrong[name] = error
    return found, wrong


def is_forbidden(package: str, forbid: Sequence[str]) -> bool:
    """Whether a station that forbids this does not allow what the package brings."""
    named = {canonical(word.removeprefix(ONE)) for word in forbid if word.startswith(ONE)}
    return ALL in forbid or canonical(package) in named


def canonical(package: str) -> str:
    """The name as package indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", package).lower()
