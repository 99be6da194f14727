"""A format as options say it: --as, and what stands beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, NamedTuple, get_args

import msgspec

from benchrig.source.shape import Misfit
from benchrig.values.base import Order
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.pattern import Regex
from benchrig.values.spec import Exact, raw_number


def _order(text: str) -> str:
    if text not in get_args(Order):
        raise Misfit(f"expected {' or '.join(get_args(Order))}, found '{text}'")
    return text


# What is typed for a key of this type, and how it is read.
_SINGLE: dict[Any, tuple[str, Callable[[str], Any]]] = {
    Exact | None: ("NUMBER", Exact.from_source),
    int | None: ("NUMBER", raw_number),
    str | None: ("UNIT", str),
    Regex | None: ("PATTERN", Regex.from_source),
    Order | None: ("|".join(get_args(Order)), _order),
}


class Beside(NamedTuple):
    """An option beside --as: a key of a format that is a single value."""

    field: str
    metavar: str
    read: Callable[[str], Any]


@cache
def beside() -> dict[str, Beside]:
    """The options beside --as."""
    return {
        f"--{field.encode_name.replace('_', '-')}": Beside(field.name, *_SINGLE[field.type])
        for field in msgspec.structs.fields(FormatSpec)
        if field.type in _SINGLE and field.name != "as_"
    }


def typed_format(options: Mapping[str, str]) -> FormatSpec | None:
    """The format that the options make, by their names as they are typed; None without any of them. Misfit."""
    given = [option for option in beside() if option in options]
    if "--as" not in options:
        if given:
            raise Misfit(f"{given[0]} goes with --as", "for example: --as sint16 --scale 0.01 --unit °C")
        return None
    spec = FormatSpec(as_=options["--as"], **{beside()[option].field: _read(option, options) for option in given})
    build_format(spec)
    return spec


def _read(option: str, options: Mapping[str, str]) -> Any:
    try:
        return beside()[option].read(options[option])
    except Misfit as misfit:
        raise Misfit(f"{option}: {misfit.message}", misfit.advice) from misfit
