"""A rule: what a device may break, and the function that looks for it.

Severity and source stand above the function, its own name is that of the rule, and its documentation begins with what
the rule is about, as the reference has it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from benchrig.desk.findings.finding import Finding, Severity
from benchrig.desk.findings.look import Look


class Broken(NamedTuple):
    """One place at which a rule is broken."""

    where: str
    sentence: str
    source: str = ""  # in place of the rule's
    severity: Severity | None = None  # in place of the rule's


Judge: TypeAlias = Callable[[Look], Iterator[Broken]]


@dataclass(frozen=True)
class Rule:
    name: str
    severity: Severity
    source: str  # the standard that says so
    meaning: str  # what the device does; a row of the reference
    judge: Judge

    def findings(self, look: Look) -> Iterator[Finding]:
        for broken in self.judge(look):
            severity, source = broken.severity or self.severity, broken.source or self.source
            yield Finding(self.name, severity, broken.where, broken.sentence, source)


@dataclass(frozen=True)
class Family:
    """The rules of one file, in the order in which they are written there."""

    name: str
    rules: list[Rule] = field(default_factory=list)

    def rule(self, severity: Severity, source: str) -> Callable[[Judge], Judge]:
        def named(judge: Judge) -> Judge:
            meaning = " ".join((judge.__doc__ or "").partition("\n\n")[0].split())
            self.rules.append(Rule(judge.__name__.replace("_", "-"), severity, source, meaning.rstrip("."), judge))
            return judge

        return named
