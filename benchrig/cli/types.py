"""Numbers, times and keys on the command line."""

from __future__ import annotations

import contextlib
import math
from decimal import Decimal
from typing import Any, Generic, TypeVar

import click

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import UsageError

T = TypeVar("T")


class Written(click.ParamType[T], Generic[T]):
    """What is made of a text. `read` says with a Misfit or a UsageError what is wrong, `example` what would be right."""

    made: type[T]
    example = ""

    def read(self, text: str) -> T:
        raise NotImplementedError

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> T:
        from benchrig.source.shape import Misfit

        if isinstance(value, self.made):
            return value
        try:
            return self.read(value)
        except (Misfit, UsageError) as wrong:
            self.fail("; ".join(filter(None, (wrong.message, wrong.advice or self.example))), param, ctx)


class Time(Written[float]):
    """A time with its unit, in seconds: '5 s', '500ms'."""

    name, made, example = "time", float, "for example: 10s"

    def read(self, text: str) -> float:
        from benchrig.values.quantity import Duration

        return Duration.from_source(text).seconds


class Percent(Written[float]):
    """A share, as a number between 0 and 1: '99 %', '99.9'."""

    name, made, example = "percent", float, "for example: 99%"

    def read(self, text: str) -> float:
        share = 0.0
        with contextlib.suppress(ValueError):
            share = float(text.strip().removesuffix("%")) / 100
        if not 0 < share < 1:
            raise UsageError(f"expected a percentage between 0 and 100 %, found '{text}'")
        return share


class Share(Written[float]):
    """A share that may be none or all: '98 %', '100'."""

    name, made, example = "percent", float, "for example: 98%"

    def read(self, text: str) -> float:
        share = -1.0
        with contextlib.suppress(ArithmeticError):  # decimal: 99.9 % is what 999 of 1000 are
            share = float(Decimal(text.strip().removesuffix("%")) / 100)
        if not 0 <= share <= 1:
            raise UsageError(f"expected a percentage from 0 to 100 %, found '{text}'")
        return share


class Whole(click.IntRange):
    """A whole number, and what it may be."""

    name = "whole number"

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        return "N"


class Decibels(Written[float]):
    """A level in dBm, or a difference of levels in dB: with its unit, as plans have it, or as a bare number."""

    name, made = "decibels", float

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        return self.unit.upper()

    def read(self, text: str) -> float:
        from benchrig.values.quantity import Gain, Level
        from benchrig.values.units import BASE, UNITS

        with contextlib.suppress(ValueError):
            if math.isfinite(number := float(text)):
                return number
        kind = Level if UNITS[self.unit] is BASE["level"] else Gain
        self.example = f"for example: {kind.sample} {self.unit}"
        return float(kind.from_source(text).number)


class IdentityKey(Written[bytes]):
    """An identity resolving key: 16 octets as hex, the most significant first."""

    name, made = "hex", bytes

    def read(self, text: str) -> bytes:
        from benchrig.plan.given_words import brought

        key = b""
        with contextlib.suppress(ValueError):
            key = bytes.fromhex((brought(text) if text.startswith("@") else text).replace(":", ""))
        if len(key) != 16:
            raise UsageError(
                f"expected an identity resolving key (32 hex digits, the most significant first), found '{text}'"
            )
        return key


class ConsolePlace(Written[ConsoleChoice]):
    """Where the console of a unit is."""

    name, made = "console", ConsoleChoice

    def read(self, text: str) -> ConsoleChoice:
        return ConsoleChoice.parse(text)
