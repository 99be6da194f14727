"""Plans as nodes of pytest's tree: file, plan (one a case), and an item for each of its steps.

Collectors of several cases of one plan have one name: the case is the last part of the name of an item, where pytest has
it too, so that an id without it selects all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import BenchrigError
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.names import given_names
from benchrig.pytesting.ids import id_text
from benchrig.pytesting.plan_run import Came, PlanRun, loaded
from benchrig.pytesting.settings import Settings, settings_of, short
from benchrig.pytesting.telling import NAME, Told, as_error
from benchrig.report.names import unused
from benchrig.source.problem import counted


class PlanFile(pytest.File):
    """One file with a plan."""

    def collect(self) -> Iterable[PlanNode]:
        settings, path = settings_of(self.config), short(self.path, self.config)
        asked = given_names(path) if settings.has_values else frozenset[str]()
        for case in settings.cases_of(asked):
            # what is wrong with values alone is no mistake of the plan: its first step says so
            plan = _with_values(path, settings, settings.values_of(asked, case))
            whole = plan or self._without_values()
            yield PlanNode.from_parent(self, name=id_text(whole.name), plan=whole, is_whole=plan is not None, case=case)

    def _without_values(self) -> Plan:
        """CollectError with all that is wrong."""
        settings, path = settings_of(self.config), short(self.path, self.config)
        try:
            return load_plan(path, forbid=settings.station.forbid, limits=settings.limits_of(path))
        except BenchrigError as error:
            problems = getattr(error, "problems", ())
            count = f"\n\n{counted(len(problems), 'problem')}" if problems else ""
            raise self.CollectError(f"{error}{count}") from error


class PlanNode(pytest.Collector):
    """A plan, with the values of one case."""

    def __init__(self, *, plan: Plan, is_whole: bool, case: str, **known: Any) -> None:
        super().__init__(**known)
        self.case, self.given, self._path = case, frozenset(plan.given), plan.path
        self.title = plan.name
        # until it has run: the trees of many plans would be looked through for garbage again and again
        self._plan: Plan | None = plan
        self._is_whole, self._trouble = is_whole, ""
        self.told: list[Told] = []
        self._run: PlanRun | None = None
        for marker in plan.markers:
            self.config.addinivalue_line("markers", f"{marker}: a marker of test plans")
            self.add_marker(marker)

    def collect(self) -> Iterable[StepItem]:
        taken: set[str] = set()
        case = f"[{self.case}]" if self.case else ""
        for place, step in enumerate(self._read().nodes):
            name = unused(id_text(step.written, step.called, step.kind.verb), taken)
            line = step.place.line if step.place.source.name == str(self._path) else None
            yield StepItem.from_parent(self, name=name + case, step=step.id, place=place, line=line)

    def reach(self, item: StepItem) -> Came:
        """Carry the run out up to this item. It begins with the first one, for all that are to come."""
        if self._run is None or self._run.is_past(item.step):
            self._end()  # of another order than its own: what it had to tell waits for the end
            self._run = PlanRun.of(self._read(), self.case, self.config, self._coming(item), is_whole=self._is_whole)
        return self._run.reach(item.step)

    def _coming(self, item: StepItem) -> list[str]:
        """The steps that this session asks for, from this one on."""
        items: list[Any] = self.session.items
        behind = items[items.index(item) :] if item in items else [item]
        return [each.step for each in behind if each.parent is self and (each is item or not each.is_left_out)]

    def _read(self) -> Plan:
        if self._plan is None:
            limits = settings_of(self.config).limits_of(self._path)
            self._plan, self._is_whole = load_plan(self._path, limits=limits), False
        return self._plan

    def teardown(self) -> None:
        self._end()
        trouble, self._trouble = self._trouble, ""
        runs: Any = self.config.pluginmanager.get_plugin(NAME)
        if runs.is_interrupted:  # there is no report any more that could carry it
            told, self.told = self.told, []
            runs.add_last(told, trouble)
        elif trouble:
            raise _failure(trouble)

    def _end(self) -> None:
        """What no item of the run has told waits to be told."""
        run, self._run = self._run, None
        if run is not None:
            self._plan = None
            told, trouble = run.end()
            self.told += [told] if told is not None else []
            self._trouble = "\n".join(filter(None, (self._trouble, trouble)))

    def __repr__(self) -> str:
        return f"<Plan {self.name}{f' [{self.case}]' if self.case else ''}>"


class StepItem(pytest.Item):
    """A step of the plan, with all that is in it."""

    parent: PlanNode

    def __init__(self, *, step: str, place: int, line: int | None, **known: Any) -> None:
        super().__init__(**known)
        self.step, self.place, self._from_one = step, place, line
        self.came: Came | None = None
        self.extra_keyword_matches |= {text.replace(" ", "_") for text in (self.name, self.parent.name)}

    @property
    def is_left_out(self) -> bool:
        """Whether a mark says that it is not to be done: then it is only where another step needs it."""
        conditions = [condition for mark in self.iter_markers("skipif") for condition in mark.args]
        never = [mark for mark in self.iter_markers("xfail") if mark.kwargs.get("run") is False]
        return bool(self.get_closest_marker("skip") or never or any(each is True for each in conditions))

    def setup(self) -> None:
        """The step is done here: what nobody can judge ends as an error, as pytest has it for all before a test."""
        if self.config.getoption("setuponly", False):
            return
        self.came = None
        came = self.came = self.parent.reach(self)
        if came.outcome == "error":
            raise _failure(came.text)
        if came.outcome == "skipped":
            raise pytest.skip.Exception(came.headline)

    def runtest(self) -> None:
        if self.came is not None and self.came.outcome == "failed":
            raise _failure(self.came.text)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """The line of a step of another file is not known to be in this one."""
        line = self._from_one - 1 if self._from_one is not None else None
        return self.path, line, f"{self.parent.name}: {self.name}"

    def complete(self, report: pytest.TestReport) -> None:
        """What pytest cannot know: how long the step took, the words that decided, the runs that are over."""
        came = self.came
        if report.when == "teardown":
            told, self.parent.told = self.parent.told, []
            vars(report)["benchrig_runs"] = [each.data for each in told]
            return
        decides = came is not None and (report.when == "setup") == (came.outcome in ("error", "skipped"))
        report.duration = came.seconds if came is not None and decides else 0.0
        if came is None or not decides:
            return
        if came.outcome == "error":
            as_error(report)
        if crash := getattr(report.longrepr, "reprcrash", None):
            crash.path, crash.lineno, crash.message = *self._line(), came.headline
        elif came.outcome == "skipped" and isinstance(report.longrepr, tuple):
            report.longrepr = (*self._line(), f"Skipped: {came.headline}")

    def _line(self) -> tuple[str, int]:
        path, line, _ = self.reportinfo()
        return str(path), (line or 0) + 1


def in_order(items: list[pytest.Item]) -> list[pytest.Item]:
    """The items with those of one plan side by side, in the order of the plan: it runs once, whatever shuffles them."""
    groups: dict[object, list[pytest.Item]] = {}
    for item in items:
        groups.setdefault(item.parent if isinstance(item, StepItem) else item, []).append(item)
    return [each for group in groups.values() for each in sorted(group, key=_place)]


def _failure(text: str) -> BaseException:
    """The text is the whole report: no traceback says more."""
    return pytest.fail.Exception(text, pytrace=False)


def _place(item: pytest.Item) -> int:
    return item.place if isinstance(item, StepItem) else 0


def check_values(config: pytest.Config, items: Iterable[pytest.Item]) -> None:
    """See that every value that was typed is for a plan."""
    plans = {item.parent for item in items if isinstance(item, StepItem)}
    if plans:
        settings_of(config).check_asked(frozenset().union(*(plan.given for plan in plans)))
        settings_of(config).check_limits({plan.title for plan in plans})


def _with_values(path: Path, settings: Settings, given: Mapping[str, str]) -> Plan | None:
    """None where that cannot be."""
    try:
        return loaded(path, settings, given)
    except BenchrigError:
        return None
