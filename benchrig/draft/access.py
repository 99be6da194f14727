"""The step that tries what each attribute asks for, from what a good device asked for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchrig.access.measuring import is_strict
from benchrig.access.subject import is_switch, offers
from benchrig.desk.protection import Protection, ways
from benchrig.draft.naming import Naming
from benchrig.plan.writing import Rows, StepText
from benchrig.propose.proposal import Grounds, Proposal
from benchrig.radio.security import LARGEST_KEY, SMALLEST_KEY, Capability, Level
from benchrig.source.problem import counted
from benchrig.source.writing import Bare
from benchrig.steps.access_levels import NO_WAY, SHORT_KEY
from benchrig.steps.access_matrix import KEY_SIZE
from benchrig.values.access import LEVELS, OPERATIONS
from benchrig.values.catalogue import att_error_name

_FEW_LINKS = "what needs more than an open link was tried without security alone: it may need more than is written here"


def access_step(found: Protection, naming: Naming) -> tuple[StepText, dict[str, Proposal]]:
    """The step, and its limits."""
    matrix, written = Rows(), list[str]()
    for each in found.measured:
        name = naming.name_at(each.found.attribute.handle)
        matrix.setdefault(name, {})[each.operation] = each.need
        written += [name] if each.operation == "write" else []
    _name_the_rest(found, naming, matrix)
    matrix = Rows({name: {each: row[each] for each in OPERATIONS if each in row} for name, row in matrix.items()})
    sized = [naming.name_at(each.found.attribute.handle) for each in found.measured if each.wants_long_key]
    for name in sized:
        matrix[name][KEY_SIZE] = Bare(f"{LARGEST_KEY}")
    keys: dict[str, Any] = {}
    levels = _levels(found) | ({SHORT_KEY: {"pair": found.capability}} if sized else {})
    if levels:
        keys["levels"] = Rows(levels)
    if written:
        keys["writes"] = written
    if not is_strict(found.measured):
        keys["strict"] = Bare("false")
    step = StepText("access", matrix, keys, [*_remarks(found, naming)])
    tried = sum(len(each.answers) for each in found.measured if each.need != "any")
    seen = f"{counted(tried, 'answer')} over {counted(len(found.reached), 'kind')} of links"
    limits = {
        "differences": Proposal({"equals": Bare("0")}, f"{seen}, of one unit", Grounds(1)),
        "tried": Proposal({"min": Bare(f"{tried}")}, f"{seen} were seen", Grounds(1, shown=False)),
    }
    return step, limits


def _name_the_rest(found: Protection, naming: Naming, matrix: Rows) -> None:
    """What the table offers and nobody has tried is not judged: each write that was not allowed to be tried."""
    asked = {(each.found.attribute.handle, each.operation) for each in found.measured}
    for each in naming.table.attributes():
        for operation in OPERATIONS:
            known = is_switch(each.attribute) or (each.attribute.handle, operation) in asked
            if offers(each.attribute, operation) and not known:
                matrix.setdefault(naming.name_at(each.attribute.handle), {})[operation] = "any"


def _levels(found: Protection) -> dict[str, Any]:
    """Those that the plan has to say something of: up to the most that an operation needs."""
    most = max((LEVELS.index(each.need) for each in found.measured if each.need in LEVELS), default=0)
    wanted = [level for level in Level if level > 0 and (level <= most or level in found.reached)]
    return {level.words: _way(level, found.capability) if level in found.reached else NO_WAY for level in wanted}


def _way(level: Level, capability: Capability | None) -> dict[str, Any]:
    wish = dict(ways(capability))[level]
    return {"pair": wish.capability}


def _remarks(found: Protection, naming: Naming) -> Iterator[str]:
    for level, why in found.unreached.items():
        yield f"{level.words}: {why}"
    if any(level > Level.ENCRYPTED for level in found.reached):
        yield "passkeys are asked for; write them as passkey: '…', or as a given value"
    if any(each.is_guess and each.need in LEVELS for each in found.measured):
        yield f"guess: {_FEW_LINKS}" if found.reached == [Level.NO_SECURITY] else f"guess: {_by_gap(found, naming)}"
    if any(each.wants_long_key for each in found.measured):
        yield f"guess: {KEY_SIZE} {LARGEST_KEY}, for a key of {SMALLEST_KEY} bytes was too short, and no other was tried"
    for each in found.measured:
        if each.need == "any":
            codes = ", ".join(att_error_name(code) for code in dict.fromkeys(each.answers.values()))
            yield f"{naming.name_at(each.found.attribute.handle)}, {each.operation}: any, for it was answered with {codes}"


def _by_gap(found: Protection, naming: Naming) -> str:
    unsure = [each for each in found.measured if each.is_guess and each.need in LEVELS]
    names = dict.fromkeys(naming.name_at(each.found.attribute.handle) for each in unsure)
    return f"a link that is less protected was not tried, and could be enough: {', '.join(names)}"
