"""A limit for each reading that a value gives: by the kind of its format."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from benchrig.propose.numeric import number_limit
from benchrig.propose.proposal import BY_FORMAT, Basis, Grounds, Proposal
from benchrig.propose.texts import pattern_of
from benchrig.source.problem import counted
from benchrig.source.writing import Bare
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import is_number
from benchrig.values.structs import FLAGS, ListFormat
from benchrig.values.text import BytesFormat

# Every unit has its own: the serial number, and the system ID.
IDENTITIES = (long_uuid(0x2A25), long_uuid(0x2A23))
# Fields that move with the date and time beside them, and characteristics that do so alone.
_WITH_TIME = ("day_of_week", "fraction")
_MOVING = (long_uuid(0x2A09), long_uuid(0x2A14))
# The battery level.
_CHARGED = (long_uuid(0x2A19),)
# The maker's half of the system ID; the other half is the unit's own.
_OF_THE_MAKER = ("organization_id",)
# Longer texts and bytes are judged by their length.
_LONGEST_EQUAL = 256

ByUnit = Mapping[str, Sequence[Any]]


def value_limits(
    form: Format | None, by_unit: ByUnit, basis: Basis, *, uuid: str = "", setting: bool = False
) -> dict[str, Proposal]:
    """Limits by the names of readings, `value` or one a field, for decoded values by unit. `uuid` is that of the
    attribute; without a format the values are bytes; a `setting` is what somebody has written."""
    form, identity = form or BytesFormat(), uuid in IDENTITIES
    if uuid in _MOVING:
        return {"value": Proposal(None, "no limit: it moves with time")}
    if form.kind != "struct":
        limit = limit_for(form, by_unit, basis, setting=setting, identity=identity)
        return {"value": _from_below(limit) if uuid in _CHARGED else limit}
    leaves = form.leaves()
    moving = _WITH_TIME if any(leaf.kind == "time" for leaf in leaves.values()) else ()
    limits = {f"value.{name}": Proposal(None, "no limit: it moves with time") for name in moving if name in leaves}
    return limits | {
        f"value.{name}": _field_limit(name, leaf, by_unit, basis, setting=setting, identity=identity)
        for name, leaf in leaves.items()
        if name not in moving and any(name in value for values in by_unit.values() for value in values)
    }


def _from_below(proposal: Proposal) -> Proposal:
    """A unit may be charged more than those that were seen."""
    if proposal.limit is None or "min" not in proposal.limit:
        return proposal
    return Proposal({"min": proposal.limit["min"]}, f"{proposal.reason}; it may be charged more", proposal.grounds)


def _field_limit(name: str, leaf: Format, by_unit: ByUnit, basis: Basis, *, setting: bool, identity: bool) -> Proposal:
    values = {unit: [value[name] for value in each if name in value] for unit, each in by_unit.items()}
    if any(len(values[unit]) < len(by_unit[unit]) for unit in by_unit):
        return Proposal(None, "no limit: the field is not always there")
    if name == FLAGS:
        differ = len({value for each in values.values() for value in each}) > 1
        return Proposal(None, "no limit: the flags differ") if differ else limit_for(leaf, values, basis, setting=True)
    return limit_for(
        leaf, values, basis, setting=setting or name in _OF_THE_MAKER, identity=identity and name not in _OF_THE_MAKER
    )


def limit_for(
    form: Format, by_unit: ByUnit, basis: Basis, *, setting: bool = False, identity: bool = False
) -> Proposal:
    """A limit for values of one kind."""
    values = [value for each in by_unit.values() for value in each]
    if isinstance(form, ListFormat):
        return _list_limit(form, by_unit, basis)
    if form.kind == "number" and all(map(is_number, values)):
        if identity:
            return Proposal(None, "no limit: every unit has its own")
        return number_limit(by_unit, form, basis, setting=setting)
    if isinstance(form, IntegerFormat) and form.only_words and len(set(values)) > 1:
        return Proposal(
            {"one_of": sorted(set(map(str, values)))}, f"{_counted(by_unit)} differ", Grounds(len(by_unit), shown=False)
        )
    if form.kind in ("text", "time") and all(isinstance(value, str) for value in values):
        return _text_limit(by_unit, changes=identity or form.kind == "time")
    if form.kind == "bytes":
        return _bytes_limit(by_unit)
    return _same_or_none(by_unit)


def _same_or_none(by_unit: ByUnit) -> Proposal:
    """Booleans, and numbers where words stand between: equal or nothing."""
    values = [value for each in by_unit.values() for value in each]
    if all(value == values[0] for value in values) and isinstance(values[0], (bool, str)):
        return Proposal({"equals": values[0]}, _alike(by_unit), Grounds(len(by_unit)))
    return Proposal(None, f"no limit: {_counted(by_unit)} differ")


def _text_limit(by_unit: ByUnit, *, changes: bool) -> Proposal:
    texts = [str(value) for each in by_unit.values() for value in each]
    if not any(texts):
        return Proposal(None, f"no limit: {_counted(by_unit)}, all empty")
    if len(set(texts)) == 1 and not changes:
        return _equal_or_length(by_unit, texts[0], texts[0])
    if changes and all(re.fullmatch(r"[\d?]{4}-[\d?]{2}-[\d?]{2}T.*", text) for text in texts):
        digit = r"[\d?]" if any("?" in text for text in texts) else r"\d"
        return Proposal({"matches": rf"{digit}{{4}}-{digit}{{2}}-{digit}{{2}}T\d{{2}}:\d{{2}}:\d{{2}}"},
                        f"a date and time ({_counted(by_unit)}): any", BY_FORMAT)  # fmt: skip
    pattern = pattern_of(texts)
    if max(map(len, texts)) > _LONGEST_EQUAL or not all(re.fullmatch(pattern, text) for text in texts):
        return Proposal({"length": _length(texts)}, f"{_counted(by_unit)} differ: their length", Grounds(len(by_unit)))
    what = "differ" if len(set(texts)) > 1 else "are alike, but every unit has its own"
    return Proposal({"matches": pattern}, f"{_counted(by_unit)} {what}: a pattern", Grounds(len(by_unit)))


def _bytes_limit(by_unit: ByUnit) -> Proposal:
    values = [bytes(value) for each in by_unit.values() for value in each]
    if not any(values):
        return Proposal(None, f"no limit: {_counted(by_unit)}, all empty")
    if len(set(values)) == 1:
        return _equal_or_length(by_unit, values[0], values[0].hex(" ").upper())
    return Proposal({"length": _length(values)}, f"{_counted(by_unit)} differ: their length", Grounds(len(by_unit)))


def _equal_or_length(by_unit: ByUnit, value: str | bytes, text: str) -> Proposal:
    if len(value) > _LONGEST_EQUAL:
        return Proposal({"length": len(value)}, f"{_alike(by_unit)}, too long to show", Grounds(len(by_unit)))
    return Proposal({"equals": text}, _alike(by_unit), Grounds(len(by_unit)))


def _list_limit(form: ListFormat, by_unit: ByUnit, basis: Basis) -> Proposal:
    """A limit holds for every item of a list."""
    items = {unit: [item for value in each for item in value] for unit, each in by_unit.items()}
    filled = {unit: each for unit, each in items.items() if each}
    if form.item.kind == "number" and filled and all(is_number(item) for each in filled.values() for item in each):
        proposal = number_limit(filled, form.item, basis, setting=False)
        if proposal.limit and "equals" in proposal.limit:
            text = proposal.limit["equals"]
            return Proposal({"min": text, "max": text}, f"{proposal.reason}, item by item", proposal.grounds)
        return Proposal(proposal.limit, f"{proposal.reason}, item by item", proposal.grounds)
    lists = [value for each in by_unit.values() for value in each]
    return Proposal({"length": _length(lists)}, f"number of items in {_counted(by_unit)}", Grounds(len(by_unit)))


def size_limit(by_unit: Mapping[str, Sequence[bytes]]) -> Proposal:
    """A limit on the reading `length`, where the value itself cannot be judged."""
    low, high = _ends([data for each in by_unit.values() for data in each])
    limit = (
        {"equals": Bare(f"{low} bytes")} if low == high else {"min": Bare(f"{low} bytes"), "max": Bare(f"{high} bytes")}
    )
    return Proposal(limit, f"{_counted(by_unit)}: how many bytes", Grounds(len(by_unit)))


def _length(values: Iterable[Sequence[Any]]) -> Any:
    low, high = _ends([*values])
    return low if low == high else {"min": low, "max": high}


def _ends(values: Sequence[Sequence[Any]]) -> tuple[int, int]:
    counts = [len(value) for value in values]
    return min(counts), max(counts)


def _alike(by_unit: ByUnit) -> str:
    return f"the same in {_counted(by_unit)}"


def _counted(by_unit: ByUnit) -> str:
    count = sum(map(len, by_unit.values()))
    return f"{counted(count, 'value')} of {counted(len(by_unit), 'unit')}"
