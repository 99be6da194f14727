"""A format as options say it: --as, and what stands beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchrig.source.shape import Misfit
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.spec import Exact

# The options beside --as and what their value is.
BESIDE = {"--scale": "NUMBER", "--offset": "NUMBER", "--unit": "UNIT", "--order": "little|big"}


def typed_format(options: Mapping[str, str]) -> FormatSpec | None:
    """The format that the options make, by their names as they are typed; None without any of them. Misfit."""
    beside = {option: options[option] for option in BESIDE if option in options}
    if "--as" not in options:
        if beside:
            raise Misfit(f"{next(iter(beside))} goes with --as", "for example: --as sint16 --scale 0.01 --unit °C")
        return None
    order: Any = beside.get("--order")
    if order not in (None, "little", "big"):
        raise Misfit(f"--order is little or big, not '{order}'")
    spec = FormatSpec(
        as_=options["--as"],
        scale=_number(beside, "--scale"),
        offset=_number(beside, "--offset"),
        unit=beside.get("--unit"),
        order=order,
    )
    build_format(spec)
    return spec


def _number(beside: Mapping[str, str], option: str) -> Exact | None:
    try:
        return Exact.from_source(beside[option]) if option in beside else None
    except Misfit as misfit:
        raise Misfit(f"{option}: {misfit.message}", misfit.advice) from misfit
