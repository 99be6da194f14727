"""What a test wants of its fixtures: marker, parameters, then the options of the session -> a radio to open, a unit to find."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from benchrig.api.opening import RadioContext, open_radio
from benchrig.errors import UsageError
from benchrig.plan.brought import bring
from benchrig.pytesting.settings import ACKNOWLEDGE, SET, Settings, settings_of, short
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Place, Source, suggest

MARKER = "benchrig"
# Of open_radio, as they are.
_OPENING = ("seed", "acknowledged", "caution", "operator", "may_lack")
KEYS = ("radio", "unit", "names", "given", "station", "air", "real_time", *_OPENING)
_NOBODY = Unattended(f"{ACKNOWLEDGE}, or benchrig(acknowledged=True) at the test,", SET, at_terminal=False)
_NO_UNIT = "write @pytest.mark.benchrig(unit='NAME'), or name a plan: names='plan.yaml', --benchrig-names plan.yaml"


@dataclass(frozen=True)
class Wish:
    """Of one test. Paths are seen from the ini file, as those in it are."""

    settings: Settings
    place: Place
    name: str
    keys: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, item: pytest.Item, parameter: Any = None) -> Wish:
        """UsageError for a key that no marker has."""
        keys = {**marked(item), **_radio_keys(parameter)}
        return cls(settings_of(item.config), place_of(item), item.nodeid, keys)

    @property
    def choice(self) -> RadioChoice:
        words = self.keys.get("radio")
        if words is None:
            return self.settings.radio
        return self.settings.placed(RadioChoice.parse(words, air=self.keys.get("air")))

    @property
    def real_time(self) -> bool:
        return bool(self.keys.get("real_time"))

    def opened(self) -> RadioContext:
        """The radio, not yet open; the run has the name of the test. PlanError, UsageError."""
        settings = self.settings
        names = self._path("names") or settings.names
        station = self._path("station") or settings.station
        chosen = {"seed": settings.seed, "acknowledged": settings.acknowledged, "operator": _NOBODY}
        keys: dict[str, Any] = chosen | {key: self.keys[key] for key in _OPENING if key in self.keys}
        given = self._given(names)
        kept: dict[str, Any] = {"results": settings.results, "history": settings.history}
        return open_radio(self.choice, names=names, given=given, station=station, name=self.name, **kept, **keys)

    def select(self, context: RadioContext, parameter: Any = None) -> Any:
        """What tells the unit; None where a plan says so. UsageError where nothing does."""
        select = parameter if parameter is not None else self.keys.get("unit")
        if select is None and context.opening.brought.plan is None:
            raise UsageError("nothing says which unit is meant", advice=_NO_UNIT)
        return select

    def _path(self, key: str) -> Path | None:
        return self.settings.base / self.keys[key] if self.keys.get(key) else None

    def _given(self, names: Path | None) -> Mapping[str, str] | None:
        if "given" in self.keys or names is None:
            return self.keys.get("given")
        plan = bring(names).plan
        return (self.settings.values_of(plan.given, "") or None) if plan is not None else None


def marked(item: pytest.Item) -> dict[str, Any]:
    """The keys of its markers: the nearest one counts."""
    keys: dict[str, Any] = {}
    for mark in item.iter_markers(MARKER):
        if mark.args:
            raise UsageError("the marker 'benchrig' takes keys alone", advice="for example: benchrig(unit='NAME')")
        keys = {**_known(mark.kwargs), **keys}
    return keys


def is_virtual(item: pytest.Item) -> bool:
    """Whether the clock of a test that takes a radio is virtual: each radio that it may get is simulated."""
    try:
        wishes = [Wish.of(item, parameter) for parameter in _parameters(item)]
        return all(wish.choice.simulated and not wish.choice.ports and not wish.real_time for wish in wishes)
    except UsageError:
        return False  # the fixture says what is wrong


def _parameters(item: pytest.Item) -> Iterator[Any]:
    """Those that benchrig_radio is parametrised with, at this test."""
    found = False
    for mark in item.iter_markers("parametrize"):
        names = mark.args[0] if mark.args else mark.kwargs.get("argnames", "")
        names = [each.strip() for each in names.split(",")] if isinstance(names, str) else [*names]
        if "benchrig_radio" in names:
            found = True
            for values in mark.args[1] if len(mark.args) > 1 else mark.kwargs.get("argvalues", ()):
                values = getattr(values, "values", values) if not isinstance(values, Mapping) else values
                yield (
                    values
                    if len(names) == 1 and not isinstance(values, tuple)
                    else values[names.index("benchrig_radio")]
                )
    if not found:
        yield None


def _radio_keys(parameter: Any) -> dict[str, Any]:
    """A parameter is the words of a radio, or keys of the marker."""
    if parameter is None:
        return {}
    return _known(parameter) if isinstance(parameter, Mapping) else {"radio": str(parameter)}


def _known(keys: Mapping[str, Any]) -> dict[str, Any]:
    for key in keys:
        if key not in KEYS:
            raise UsageError(f"benchrig: unknown key '{key}'", advice=suggest(key, KEYS))
    return dict(keys)


def place_of(item: pytest.Item) -> Place:
    """Where the test stands."""
    path, line, _ = item.reportinfo()
    file = Path(path)
    return Place(Source(str(short(file, item.config)), file.read_text("utf-8", "replace")), (line or 0) + 1, 1)
