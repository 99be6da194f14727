"""Numbers and times on the command line."""

from __future__ import annotations

import contextlib
import math
from typing import Any

import click


class Time(click.ParamType[float]):
    """A time with its unit, in seconds: '5 s', '500ms'."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from benchrig.source.shape import Misfit
        from benchrig.values.quantity import Duration

        if isinstance(value, float):
            return value
        try:
            return Duration.from_source(value).seconds
        except Misfit as misfit:
            self.fail(f"{misfit.message}; {misfit.advice or 'for example: 10s'}", param, ctx)


class Whole(click.IntRange):
    """A whole number, and what it may be."""

    name = "whole number"

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        return "N"


class Decibels(click.ParamType[float]):
    """A level in dBm, or a difference of levels in dB: with its unit, as plans have it, or as a bare number."""

    name = "decibels"

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        return self.unit.upper()

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from benchrig.source.shape import Misfit
        from benchrig.values.quantity import BASE, UNITS, Gain, Level

        with contextlib.suppress(ValueError):
            if math.isfinite(number := float(value)):
                return number
        kind = Level if UNITS[self.unit] is BASE["level"] else Gain
        try:
            return float(kind.from_source(value).number)
        except Misfit as misfit:
            example = f"for example: {kind.sample} {self.unit}"
            self.fail(f"{misfit.message}; {misfit.advice or example}", param, ctx)
