"""console: a line to the unit's console, and the line of it that is waited for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from benchrig.errors import StationError
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType
from benchrig.steps.found import Groups
from benchrig.steps.loss import LOSS
from benchrig.steps.waiting import REACHED, REACHED_AFTER, Goal, Waiting, see_it_through
from benchrig.values.limit import Limit

if TYPE_CHECKING:
    from benchrig.console.console import Console as UnitConsole
    from benchrig.console.lines import Line
    from benchrig.steps.bench import Bench

LONGEST = 1000
# How a note begins that tells what was sent.
SENDS = "sends to the console: "
_NAMES = {
    "line": ReadingType("text", "", "the line that satisfies 'until'"),
    "count": ReadingType("number", "", "lines that were looked at, that one included"),
    "elapsed": SECONDS,
}


class Console(Waiting, kw_only=True, omit_defaults=True):
    """Send a line, and wait for one. Of the lines that no console step has seen those count that were printed since the `send`;
    without one, since the step before began."""

    verb: ClassVar[str] = "console"
    needs: ClassVar[frozenset[Cap]] = NOTHING
    writes: ClassVar[bool] = True
    tries_again: ClassVar[bool] = False
    may_lose: ClassVar[bool] = True
    within_default: ClassVar[float] = 10.0
    of_the_whole: ClassVar[frozenset[str]] = frozenset({REACHED, "line"})

    console: None
    send: str | None = None

    @classmethod
    def wires(cls, node: MappingNode) -> frozenset[str]:
        return frozenset({"console"})

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if isinstance(self.send, str) and any(end in self.send for end in "\r\n\0"):
            yield Misfit("a line to be sent has no line end in it", "write a step for each line", ("send",))
        elif isinstance(self.send, str) and len(self.send) > LONGEST:
            yield Misfit(f"a line to be sent has at most {LONGEST} characters", path=("send",))
        for name in self.groups.names:
            if name in {*_NAMES, REACHED, *LOSS}:
                message = f"the group '{name}' is called as a reading of the step"
                yield Misfit(message, "give the group another name", ("until", "line", "matches"))

    def in_one(self, types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
        return {name: kind for name, kind in types.items() if name == "line" or name in self.groups.names}

    @property
    def groups(self) -> Groups:
        """What a line that fits tells."""
        line = self.until.get("line") if isinstance(self.until, dict) else None
        pattern = line.matches if isinstance(line, Limit) and isinstance(line.matches, str) else ""
        return Groups(pattern, [self.until, self.expect])

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        own = {name: kind for name, kind in _NAMES.items() if self.until or name != "line"}
        waited = {REACHED: REACHED_AFTER, **self.groups.types} if self.until else {}
        return {**own, **waited, **LOSS}

    async def run(self, bench: Bench) -> None:
        console, began, had = console_of(bench), bench.now(), bench.time_left
        bench.acts()
        count = await self._begin(bench, console)
        if self.until:
            await self._wait(bench, console, began, had)
        elif bench.wanted("count"):
            bench.reading("count", count)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(began), "s")

    async def _begin(self, bench: Bench, console: UnitConsole) -> int:
        """Send, and let the lines before that count as seen; so does a step that only looks. How many there were."""
        if self.until and self.send is None:
            return 0
        count = console.forget()
        if self.send is not None:
            bench.note(f"{SENDS}{self.send}")
            await console.send(self.send)
        return count

    async def _wait(self, bench: Bench, console: UnitConsole, began: float, had: float) -> None:
        goal = Goal(self.until, {"line": _NAMES["line"], **self.groups.types})
        looked = _Looked(self.groups, goal, bench.before)
        end = bench.now() + bench.time_left
        while not looked.at_all(console) and (left := end - bench.now()) > 0:
            if console.gone is not None:
                raise console.gone
            await console.more(left)
        if bench.wanted("count"):
            bench.reading("count", looked.count)
        if looked.found is None:
            await self._never(bench, console, looked, began, had)
        else:
            self._report(bench, looked.found, began)

    def _report(self, bench: Bench, line: Line, began: float) -> None:
        if line.at < began:
            bench.note(f"the line is from {began - line.at:.3f} s before this step began")
        bench.reading(REACHED, round(line.at - began, 6), "s")
        bench.reading("line", line.text)
        for name, value, unit in self.groups.values(line.text):
            bench.reading(name, value, unit, why="the line does not have it")

    async def _never(self, bench: Bench, console: UnitConsole, looked: _Looked, began: float, had: float) -> None:
        if console.dropped:
            raise StationError(
                f"{counted(console.dropped, 'line')} of the console were dropped before this step saw them",
                advice="put a console step between that takes them",
            )
        lines = counted(looked.count, "line")
        why = f"{looked.goal.unmet('no line was printed')} after {bench.since(began):.3g} s, {lines}"
        if looked.stale is not None:
            why += f"; one from {began - looked.stale.at:.3g} s before this step is too old"
        await see_it_through(bench, self, had, why)
        bench.reading(REACHED, None, "s", why=why)
        for name in filter(bench.wanted, ("line", *self.groups.names)):
            unit = "" if name == "line" else self.groups.types[name].unit
            bench.reading(name, None, unit, why="no line satisfies 'until'")


class _Looked:
    """The lines of one step, up to the one that is waited for. What was printed before `since` says nothing of now."""

    def __init__(self, groups: Groups, goal: Goal, since: float) -> None:
        self.count, self.goal = 0, goal
        self.found: Line | None = None
        # the last one that would satisfy, and is too old
        self.stale: Line | None = None
        self._groups, self._since = groups, since

    def at_all(self, console: UnitConsole) -> bool:
        """Look at what no step has seen; whether the line was among it. What follows it stays unseen."""
        for line in console.unseen():
            if line.at < self._since:
                self._pass_over(line)
                continue
            self.count += 1
            if self.goal.is_met(self._readings(line)):
                self.found = line
                return True
        return False

    def _pass_over(self, line: Line) -> None:
        if self.goal.fits(self._readings(line)):
            self.stale = line

    def _readings(self, line: Line) -> dict[str, Any]:
        return {"line": line.text, **self._groups.readable(line.text)}


def console_of(bench: Bench) -> UnitConsole:
    console: Any = bench.beside.console
    if console is None:
        raise StationError("the unit has no console here", advice="name it with --console, or in the station file")
    return console  # type: ignore[no-any-return]
