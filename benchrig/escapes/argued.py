"""The file in which people say why an escape is right: read strictly, reviewed like a plan.

    plan: end_of_line.yaml
    device: devices/logger.yaml
    argued:
      - faults: 'hardware revision: *'
        why: The revision is printed on the board, and no program reads it.
        by: Anna Berg
        date: '2026-11-27'
      - faults: ['log stream: stops after *', 'log stream: 1 % lost']
        left_to: nightly_regression.yaml
        why: It takes a minute to see, which the line does not have.
        by: Anna Berg
        date: '2026-11-27'

Files are named as they are seen from the plan. In the name of a fault * stands for any text, ? for one character.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, ClassVar, Self

import msgspec

from benchrig.source.nodes import locate
from benchrig.source.one_or_more import OneOrMore
from benchrig.source.problem import Problems
from benchrig.source.references import expressions
from benchrig.source.shape import BAD, Misfit, Reader, describe_value
from benchrig.source.yaml import Node, read_file

FOLDER = "escapes"
_ONLY_WILD = re.compile(r"[\W_]*")
# What a name with * or ? has to say at least: fewer letters stand in names of any kind.
_SAYS_WHICH = re.compile(r"[^\W_]{3}")
_NARROWER = "name an attribute or a kind of fault"
_LEAST = "write at least 'plan:', 'device:' and 'argued:'"


class Day(str):
    """A day, as ISO 8601 has it."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"}

    @classmethod
    def from_source(cls, value: Any) -> Self:
        try:
            return cls(datetime.date.fromisoformat(value).isoformat())
        except (TypeError, ValueError):
            raise Misfit(f"expected a day, found {describe_value(value)}", "for example: '2026-11-27'") from None


class FaultNames(OneOrMore):
    """Names of faults, with * and ?."""

    __slots__ = ()
    one: ClassVar[str] = "the name of a fault"
    example: ClassVar[str] = "'temperature: stuck'"

    @classmethod
    def check(cls, name: Any) -> None:
        if not isinstance(name, str):
            raise Misfit(f"expected {cls.one}, found {describe_value(name)}", "quote it")
        if _ONLY_WILD.fullmatch(name):
            raise Misfit(f"'{name}' would argue for every fault", _NARROWER)
        if ("*" in name or "?" in name) and not _SAYS_WHICH.search(name):
            raise Misfit(f"'{name}' would argue for faults that nobody thought of", _NARROWER)

    def fit(self, name: str) -> bool:
        return any(_pattern(each).fullmatch(name) for each in self)


@cache
def _pattern(name: str) -> re.Pattern[str]:
    """Not that of fnmatch: names have brackets in them."""
    return re.compile(re.escape(name).replace(r"\*", ".*").replace(r"\?", "."), re.DOTALL)


class Entry(msgspec.Struct, omit_defaults=True):
    """Why escapes are right, and who said so on which day; or which plan they are left to."""

    faults: FaultNames
    why: str
    by: str
    date: Day
    left_to: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        for key, what in (("why", "a reason"), ("by", "a name")):
            if not getattr(self, key).strip():
                yield Misfit(f"expected {what}, found an empty text", "say it in a sentence", (key,))
        if self.left_to is not None and not self.left_to.strip():
            yield Misfit("expected the file of a plan, found an empty text", "for example: nightly.yaml", ("left_to",))

    @property
    def words(self) -> str:
        return ", ".join(f"'{each}'" for each in self.faults)


class ArguedFile(msgspec.Struct, omit_defaults=True):
    """The top of the file."""

    plan: str
    device: str
    argued: list[Entry]


class Argued(msgspec.Struct, frozen=True):
    """An argued file that was read, and where each entry is: 'file:line'."""

    path: Path
    plan: Path
    device: Path
    entries: list[Entry]
    places: list[str]


def beside(plan: Path) -> Path:
    """Where the arguments for a plan are looked for."""
    return plan.parent / FOLDER / plan.name


def plan_of(path: Path) -> Path:
    """The plan that such a file is beside."""
    return path.parent.parent / path.name


def load_argued(path: Path, plan: Path) -> Argued:
    """PlanError with all problems, also where it argues for another plan."""
    problems = Problems()
    node = read_file(path, problems, least=_LEAST)
    problems.raise_if_any()
    assert node is not None
    for name, scalar in expressions(node):
        problems.add(scalar.place, f"an argued file has no references, found ${{{name}}}", "write the value")
    problems.raise_if_any()
    read = Reader(problems).read(node, ArguedFile)
    if read is not BAD and (plan.parent / read.plan).resolve() != plan.resolve():
        problems.add(
            locate(node, ("plan",)).place, f"expected {plan.name}, found {read.plan}", f"write plan: {plan.name}"
        )
    _check_files(node, read, plan, problems)
    problems.raise_if_any()
    places = [f"{path}:{locate(node, ('argued', at)).place.line}" for at in range(len(read.argued))]
    return Argued(path, plan, plan.parent / read.device, read.argued, places)


def _check_files(node: Node, read: Any, plan: Path, problems: Problems) -> None:
    if read is BAD:
        return
    named: list[tuple[tuple[str | int, ...], str]] = [(("device",), read.device)]
    named += [(("argued", at, "left_to"), each.left_to) for at, each in enumerate(read.argued) if each.left_to]
    for path, name in named:
        if not (plan.parent / name).is_file():
            problems.add(
                locate(node, path).place, f"the file {name} does not exist", f"name it as seen from {plan.name}"
            )
        elif path[-1] == "left_to" and (plan.parent / name).resolve() == plan.resolve():
            problems.add(locate(node, path).place, "a plan cannot be left to itself", "name another plan")
