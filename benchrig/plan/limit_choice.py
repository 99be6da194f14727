"""Which limit set of a call goes with which of its plans: each names its plan."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path

from benchrig.plan.limit_sets import KEY
from benchrig.source.problem import Problems, suggest
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar, read_file


def limits_for(plans: Sequence[Path], sets: Iterable[Path]) -> dict[Path, Path]:
    """By plan. Of a call with one plan a single set is for that: who loads the two says whether it is. PlanError for a set of
    no plan, and for two of one."""
    named, titles = list(dict.fromkeys(sets)), [title_of(plan) for plan in plans]
    if len(plans) == 1 and len(named) == 1:
        return {plans[0]: named[0]}
    chosen = by_title(named)
    check_known(chosen, titles)
    return {plan: chosen[title] for plan, title in zip(plans, titles, strict=True) if title in chosen}


def by_title(sets: Iterable[Path]) -> dict[str, Path]:
    """Limit sets by the name of their plan. PlanError for two of one."""
    problems, chosen = Problems(), dict[str, Path]()
    for path in sets:
        if (title := _title(path, problems)) is None:
            continue
        first = chosen.setdefault(str(title.value), path)
        if first != path:
            message = f"the plan '{title.value}' has a limit set already: {first}"
            problems.add(title.place, message, "give one limit set for a plan")
    problems.raise_if_any()
    return chosen


def check_known(chosen: Mapping[str, Path], titles: Collection[str]) -> None:
    """PlanError for a limit set of none of these plans."""
    problems = Problems()
    for name, path in chosen.items():
        title = _title(path, problems)
        if name not in titles and title is not None:
            problems.add(title.place, f"no plan of this call is named '{name}'", suggest(name, titles))
    problems.raise_if_any()


def title_of(plan: Path) -> str:
    """The name of a plan; '' where that cannot be read, which is told by who loads it."""
    title = _title(plan, Problems())
    return "" if title is None else str(title.value)


def _title(path: Path, problems: Problems) -> Scalar | None:
    """The name of the plan, or that of the plan of a limit set."""
    node = read_file(path, problems, least=f"write at least '{KEY}:', 'plan:' and 'limits:'")
    title = node.get("plan") if isinstance(node, MappingNode) else None
    if isinstance(title, Scalar):
        return title
    if node is not None:
        problems.add(node.place, "the key 'plan' is missing", "add plan: …")
    return None
