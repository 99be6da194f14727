"""What was found of the radios, and what that comes to."""

from __future__ import annotations

import platform
from collections.abc import Callable
from importlib import metadata
from typing import Literal

import msgspec

from benchrig.version import __version__

State = Literal["yes", "no", "unknown"]


class Check(msgspec.Struct, tag="check", tag_field="kind", frozen=True):
    """One question about a radio. `blocks`: with this answer nothing can be tested over it."""

    radio: str
    check: str
    state: State
    found: str
    advice: str = ""
    blocks: bool = False


class Beginning(msgspec.Struct, tag="beginning", tag_field="kind", frozen=True):
    """A check that is about to be made."""

    radio: str
    check: str


class Attached(msgspec.Struct, tag="attached", tag_field="kind", frozen=True):
    """A controller of its own that --radio could name, or why none of its kind could be listed; `usable` says whether
    this user may open it, None where that is not known."""

    radio: str
    what: str
    usable: bool | None = None
    advice: str = ""


Word = Check | Beginning | Attached
Heard = Callable[[Check | Attached], None]


class Station:
    """What was found, radio by radio."""

    def __init__(self, heard: Heard = lambda _: None) -> None:
        self.checks: list[Check] = []
        self.attached: list[Attached] = []
        self._heard = heard

    def add(self, word: Check | Attached) -> None:
        if isinstance(word, Check):
            self.checks.append(word)
        else:
            self.attached.append(word)
        self._heard(word)

    @property
    def radios(self) -> list[str]:
        return list(dict.fromkeys(check.radio for check in self.checks))

    def blocked(self, radio: str) -> Check | None:
        """What keeps this radio from being used."""
        return next((check for check in self.checks if check.radio == radio and check.blocks), None)

    @property
    def ready(self) -> list[str]:
        """The radios over which can be tested; not the system's as a whole where its adapters are named."""
        whole = {radio.partition(":")[0] for radio in self.radios if radio.startswith("host:")}
        return [radio for radio in self.radios if radio not in whole and self.blocked(radio) is None]


def unfit_stack(radio: str) -> Check | None:
    """What the installed bumble lacks; None when it is as benchrig needs it."""
    from benchrig.radio.bumble_stack.bumble_check import INSTALL, check_api, check_text

    wrong = check_api()
    return Check(radio, "bumble", "no", check_text(wrong), INSTALL, blocks=True) if wrong else None


def versions() -> dict[str, str]:
    """Of what testing rests on; that of BlueZ stands in its check."""
    found = {"benchrig": __version__, "python": platform.python_version()}
    for package in ("bleak", "bumble"):
        found[package] = metadata.version(package)
    return found | {"system": f"{platform.system()} {platform.release()}"}
