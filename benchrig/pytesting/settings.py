"""Options and ini keys of a session -> what its runs have in common. An option goes before its ini key."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from benchrig.errors import BenchrigError, UsageError
from benchrig.history.choosing import seen_from
from benchrig.plan.given_words import parse_given
from benchrig.plan.limit_choice import by_title, check_known, title_of
from benchrig.radio.specify import RadioChoice
from benchrig.source.problem import suggest
from benchrig.station.station import Station, load_station

SET, CASE, ACKNOWLEDGE = "--benchrig-set", "--benchrig-case", "--benchrig-acknowledge"
# Workers take turns on a radio, a plan or a Python test at a time.
WAIT = 60.0
_CASE = re.compile(r"\s*([\w.-]+)\s*:\s*(\S.*)", re.DOTALL)
# Between the values of a case: one may have a comma in it.
_BETWEEN = re.compile(r"\s*,\s*(?=[^\s,=]+=)")


@dataclass(frozen=True)
class Settings:
    """`is_named` says whether anybody named the radio; `typed` are the names of values that the command line gives, where a
    name that no plan asks for is a mistake."""

    station: Station
    radio: RadioChoice
    is_named: bool
    results: Path
    history: str = ""
    seed: int = 0
    acknowledged: bool = False
    given: Mapping[str, str] = field(default_factory=dict)
    cases: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    typed: frozenset[str] = frozenset()
    # of Python tests: a plan or a file of names, and where paths of their own are seen from
    names: Path | None = None
    base: Path = Path()
    # limit sets by the name of their plan, and those of the command line among them
    limits: Mapping[str, Path] = field(default_factory=dict)
    typed_limits: Mapping[str, Path] = field(default_factory=dict)

    def placed(self, radio: RadioChoice) -> RadioChoice:
        """A radio that a test names; it waits for others as that of the session does."""
        return replace(_at(radio, self.base), wait=self.radio.wait)

    @property
    def has_values(self) -> bool:
        """Whether there is one for any plan."""
        return bool(self.station.given or self.given or self.cases)

    def cases_of(self, asked: Collection[str]) -> list[str]:
        """The cases of a plan that asks for these values: those with no other names. [''] for none."""
        return [name for name, values in self.cases.items() if values.keys() <= {*asked}] or [""]

    def values_of(self, asked: Collection[str], case: str) -> dict[str, str]:
        """The values of one case of a plan. What it does not ask for is for others."""
        values = {**self.station.given, **self.given, **self.cases.get(case, {})}
        return {name: value for name, value in values.items() if name in asked}

    def limits_of(self, plan: Path) -> Path | None:
        """The file of its limit set."""
        return self.limits.get(title_of(plan)) if self.limits else None

    def check_limits(self, titles: Collection[str]) -> None:
        """See that each limit set of the command line is for a plan that was collected. pytest's UsageError."""
        try:
            check_known(self.typed_limits, titles)
        except BenchrigError as error:
            raise pytest.UsageError(f"benchrig: {error}") from error

    def check_asked(self, asked: Collection[str]) -> None:
        """See that some plan asks for each value of the command line. pytest's UsageError."""
        for name in sorted(self.typed - {*asked}):
            advice = suggest(name, asked) or "no plan that was collected has given values"
            raise pytest.UsageError(f"benchrig: no plan that was collected has a given value '{name}'\n  {advice}")


_KEY = pytest.StashKey[Settings]()


def settings_of(config: pytest.Config) -> Settings:
    """Made once a session. pytest's UsageError for what nobody can understand."""
    if _KEY not in config.stash:
        try:
            config.stash[_KEY] = _read(config)
        except BenchrigError as error:
            advice = f"\n  {error.advice}" if error.advice else ""
            raise pytest.UsageError(f"benchrig: {error.message}{advice}") from error
    return config.stash[_KEY]


def _read(config: pytest.Config) -> Settings:
    words = _Words(config)
    station = load_station(words.path("station"))
    radio, base = words.placed("radio")
    text = radio or station.radio or ""
    typed = words.typed("set"), words.typed("case")
    typed_limits = [config.invocation_params.dir / path for path in words.typed("limits")]
    given = parse_given(words.lines("set"), SET) | parse_given(typed[0], SET)
    cases = _cases([*words.lines("cases"), *typed[1]])
    return Settings(
        station=station,
        radio=replace(_at(RadioChoice.parse(text or "host"), base), wait=_wait(words.text("wait"))),
        is_named=bool(text),
        results=words.path("results") or words.root / (station.results or "results"),
        history=seen_from(*words.placed("history")),
        seed=_seed(words.text("seed")),
        acknowledged=bool(config.getoption("benchrig_acknowledge") or config.getini("benchrig_acknowledge")),
        given=given,
        cases=cases,
        typed=frozenset({*parse_given(typed[0], SET), *(name for each in _cases(typed[1]).values() for name in each)}),
        names=_names(words.path("names")),
        base=words.root,
        limits=by_title([*words.paths("limits"), *typed_limits]),
        typed_limits=by_title(typed_limits),
    )


@dataclass(frozen=True)
class _Words:
    """What was said. Paths of the command line are seen from where it was typed, all others from the ini file."""

    config: pytest.Config

    @property
    def root(self) -> Path:
        ini = self.config.inipath
        return ini.parent if ini is not None else self.config.rootpath

    def text(self, name: str) -> str:
        return self.placed(name)[0]

    def placed(self, name: str) -> tuple[str, Path]:
        """The word, and the folder that its paths are seen from."""
        typed = self.config.getoption(f"benchrig_{name}")
        if typed is not None:
            return typed, self.config.invocation_params.dir
        return self.config.getini(f"benchrig_{name}"), self.root

    def path(self, name: str) -> Path | None:
        text, base = self.placed(name)
        return base / text if text else None

    def paths(self, name: str) -> list[Path]:
        """Those of the ini file."""
        return [self.root / path for path in self.lines(name)]

    def typed(self, name: str) -> list[str]:
        return self.config.getoption(f"benchrig_{name}") or []

    def lines(self, name: str) -> list[str]:
        return list(self.config.getini(f"benchrig_{name}"))


def short(path: Path, config: pytest.Config) -> Path:
    """As people write it: seen from where they are."""
    here = config.invocation_params.dir
    return path.relative_to(here) if path.is_relative_to(here) else path


def _at(radio: RadioChoice, base: Path) -> RadioChoice:
    return replace(radio, files=tuple(base / file for file in radio.files))


def _names(path: Path | None) -> Path | None:
    if path is not None and not path.is_file():
        raise UsageError(f"benchrig_names: there is no file {path}", advice="name a plan, or a file of names")
    return path


def _wait(text: str) -> float:
    """Seconds that a radio is waited for which another process has."""
    if not re.fullmatch(r"(\d{1,5}(\.\d{1,3})?)?", text):
        raise UsageError(f"benchrig_wait: expected seconds, found '{text}'", advice="for example: 60")
    return float(text or WAIT)


def _seed(text: str) -> int:
    if not re.fullmatch(r"\d{0,18}", text):
        raise UsageError(f"benchrig_seed: expected a whole number, found '{text}'", advice="for example: 1")
    return int(text or 0)


def _cases(lines: Iterable[str]) -> dict[str, dict[str, str]]:
    """By name. UsageError for a line that is none, and for a name twice."""
    cases: dict[str, dict[str, str]] = {}
    for line in lines:
        found = _CASE.fullmatch(line.strip())
        if found is None:
            advice = f"for example: {CASE} 'cold: target=-20, mode=slow'"
            raise UsageError(f"expected NAME: VALUE=…, found '{line}'", advice=advice)
        name, values = found.groups()
        if name in cases:
            raise UsageError(f"there are two cases '{name}'", advice="give each case another name")
        cases[name] = parse_given(_BETWEEN.split(values), f"{CASE} {name}:")
    return cases
