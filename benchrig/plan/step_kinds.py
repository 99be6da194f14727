"""The step kinds that a plan can name: benchrig's own, and those that other packages bring."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any

import msgspec

from benchrig.errors import StationError
from benchrig.extensions import Extension, Unusable, extensions, is_forbidden, sole, usable
from benchrig.source.problem import Problems
from benchrig.source.shape import Reader
from benchrig.steps import KINDS, Step
from benchrig.steps.brought import BroughtStep
from benchrig.steps.composite import Composite

# By class: what has brought it.
_BROUGHT: dict[type[Step], Extension] = {}


def verbs() -> list[str]:
    """All that a step can begin with."""
    return [*KINDS, "use", *(each.name for each in extensions("step kind"))]


def brought_kind(verb: str, forbid: Sequence[str] = ()) -> type[Step] | None:
    """The step kind of another package with this verb. Unusable; StationError where the station forbids the package, of
    which nothing is then imported."""
    extension = sole("step kind", verb)
    if extension is None:
        return None
    if is_forbidden(extension.package, forbid):
        raise StationError(f"this station forbids what {extension.source} brings: the step kind '{verb}'", advice=ALLOW)
    return checked_kind(extension)


ALLOW = "take the step out of the plan, or allow the package in the station file"


def usable_kinds() -> tuple[list[type[Step]], list[Unusable]]:
    """All step kinds, and what is wrong with those of other packages that are left out."""
    found, wrong = usable("step kind", checked_kind)
    return [*KINDS.values(), *found.values()], [*wrong.values()]


def origin(kind: type[Step]) -> Extension | None:
    """What has brought the step kind; None for one of benchrig."""
    return _BROUGHT.get(kind)


@cache
def checked_kind(extension: Extension) -> type[Step]:
    """The class that it names. Unusable with all that does not fit."""
    kind: type[Step] = extension.checked(_misfits)
    _BROUGHT[kind] = extension
    return kind


def _misfits(extension: Extension, kind: Any) -> Iterator[str]:
    """What a step kind lacks that those of benchrig have."""
    if not (isinstance(kind, type) and issubclass(kind, BroughtStep)) or kind is BroughtStep:
        yield f"{extension.point.value} is not a subclass of benchrig.extend.Step"
        return
    verb = extension.name
    if issubclass(kind, Composite):
        yield "a step with steps in it cannot come from another package"
    if verb in (*KINDS, "use", *_keys(Step)):
        yield f"'{verb}' is a word of benchrig"
    if kind.verb != verb:
        yield f"its verb is '{kind.verb}', and its entry point is named '{verb}'"
    elif verb not in _keys(kind):
        yield f"it has no field '{verb}', for what is written behind the verb"
    yield from _of_class(kind)


def _of_class(kind: type[BroughtStep]) -> Iterator[str]:
    if not (kind.__doc__ or "").strip():
        yield "it has no docstring, which is its text in the schema"
    if kind.readings is Step.readings:
        yield "it has no method 'readings'"
    if kind.act is BroughtStep.act or not inspect.iscoroutinefunction(kind.act):
        yield "it has no async method 'act'"
    if kind.run is not BroughtStep.run:
        yield "its method 'run' is that of benchrig: write 'act'"
    if not kind.executes:
        yield "'executes' is not true, and code of its package runs in it"
    for field in msgspec.structs.fields(kind):
        if not Reader(Problems()).knows(field.type):
            yield f"the type of its key '{field.encode_name}' cannot be read from a plan"


def _keys(kind: type[Step]) -> list[str]:
    return [field.encode_name for field in msgspec.structs.fields(kind)]
