"""The families of rules that other packages bring."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, get_args

from benchrig.desk.findings import by_severity, families, findings, in_order
from benchrig.desk.findings.finding import Finding, Severity
from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Family, Rule
from benchrig.errors import StationError
from benchrig.extensions import Extension, Unusable, usable

if TYPE_CHECKING:
    from benchrig.desk.inspection import Inspection


def brought_families(forbid: Sequence[str] = ()) -> tuple[dict[Extension, Family], list[Unusable]]:
    """Those that can be used where the station allows them, and what is wrong with the others."""
    found, wrong = usable("rules", checked_family, forbid)
    return found, [*wrong.values()]


@cache
def checked_family(extension: Extension) -> Family:
    """The family that it names. Unusable with all that does not fit."""
    family: Family = extension.checked(_misfits)
    return family


def _misfits(extension: Extension, family: Any) -> Iterator[str]:
    if not isinstance(family, Family):
        yield f"{extension.point.value} is not a benchrig.extend.Family"
        return
    own = {rule.name for each in families() for rule in each.rules}
    if extension.name in {each.name for each in families()}:
        yield f"'{extension.name}' is a family of benchrig"
    if family.name != extension.name:
        yield f"its name is '{family.name}', and its entry point is named '{extension.name}'"
    if not family.rules:
        yield "it has no rules"
    for rule in family.rules:
        if rule.name in own:
            yield f"'{rule.name}' is a rule of benchrig"
        if rule.severity not in get_args(Severity):
            yield f"'{rule.severity}' of the rule '{rule.name}' is not a severity"
        if not rule.meaning:
            yield f"the rule '{rule.name}' has no docstring, which is its meaning"


def all_findings(seen: Inspection, forbid: Sequence[str] = ()) -> tuple[list[Finding], list[StationError]]:
    """What benchrig's rules find, and those of packages that a station allows; and what keeps some of these from being
    judged."""
    look, (brought, unusable) = Look(seen), brought_families(forbid)
    broken: list[StationError] = [*unusable]
    theirs = [
        [each for rule in family.rules for each in _findings_of(extension, rule, look, broken)]
        for extension, family in brought.items()
    ]
    return by_severity([*findings(seen), *in_order(look, theirs)]), broken


def _findings_of(extension: Extension, rule: Rule, look: Look, broken: list[StationError]) -> list[Finding]:
    """What the rule finds. One that breaks off adds to `broken`, and a note says so: nothing is known of what it is about."""
    found: list[Finding] = []
    try:
        found.extend(rule.findings(look))
    except Exception as error:
        broken.append(extension.broke_off(error))
        found.append(Finding(rule.name, "note", "", f"not looked at: {broken[-1].message}", extension.source))
    return found
