"""What people type where bytes and values are wanted, and how values read that no device is asked for."""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.completing import complete_attribute
from benchrig.cli.desk import format_options
from benchrig.cli.groups import Command, grouped
from benchrig.cli.options import option, path_option
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.steps.attribute import Meaning, Names
    from benchrig.values.format import Format

_NEGATIVE = re.compile(r"-\.?[0-9].*", re.DOTALL)
# as tools and source code write bytes: 66 08, 66:08, 66-08, 0x66, 0x08
_PREFIX = re.compile(r"(?<![0-9A-Za-z])0[xX]")
_BETWEEN = re.compile(r"[\s:,-]+")


class TakesNegative(click.Command):
    """Lets `-12.5 °C` be a value: no option begins with a digit."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # a number of an option may have the space in front as well
        return super().parse_args(ctx, [f" {word}" if _NEGATIVE.fullmatch(word) else word for word in args])


def as_typed(_: click.Context, __: click.Parameter, words: tuple[str, ...]) -> tuple[str, ...]:
    """The callback of an argument of a TakesNegative command."""
    return tuple(word[1:] if _NEGATIVE.fullmatch(word[1:]) else word for word in words)


def typed_bytes(text: str, where: str = "") -> bytes:
    """Hex digits with or without something between the bytes. UsageError; `where` says where the text stands."""
    digits = _BETWEEN.sub("", _PREFIX.sub("", text))
    with contextlib.suppress(ValueError):
        return bytes.fromhex(digits)
    wrong = next((f"'{c}'" for c in digits if c not in "0123456789abcdefABCDEF"), "an odd number of digits")
    raise UsageError(f"{where}expected bytes as hex text, found {wrong}", advice="for example: 66 08")


@dataclass(frozen=True)
class Reading:
    """How a value reads: the format, or the octets of a presentation format descriptor, or neither."""

    form: Format | None
    presentation: bytes | None


def _reading(form: Format | None, attribute: str | None, plan: Path | None, presentation: str | None) -> Reading:
    if (form is not None) + (attribute is not None) + (presentation is not None) > 1:
        raise UsageError("--as, --attribute and --presentation each give a format", advice="give one of them")
    if plan is not None and attribute is None:
        raise UsageError("--plan goes with --attribute")
    if attribute is not None:
        form = _of_attribute(attribute, plan)
    return Reading(form, None if presentation is None else typed_bytes(presentation, "--presentation: "))


def _of_attribute(name: str, plan: Path | None) -> Format:
    from benchrig.cli.desk import plan_names
    from benchrig.source.shape import misfit_is_usage

    names = plan_names(plan)
    with misfit_is_usage():
        meaning = names.meaning(name)
    form = meaning.format or _range_of(meaning, names)
    if form is None:
        raise UsageError(
            f"the format of '{name}' is not known", advice="give it with --as, or name the plan with --plan"
        )
    return form


def _range_of(meaning: Meaning, names: Names) -> Format | None:
    """The format of 'temperature/valid range', which is that of its characteristic twice."""
    from benchrig.values import catalogue

    uuids = [segment.uuid for segment in meaning.address.path]
    if len(uuids) < 2 or uuids[-1] != catalogue.normal_uuid("2906") or uuids[-2] is None:
        return None
    around = names.format_of(uuids[-2])
    return catalogue.valid_range_format(around) if around is not None and around.size else None


def value_options(command: Command) -> Command:
    """How a value reads; the command gets it as `reading`."""
    return format_options(_value_options(command))


_value_options = grouped(
    option("--attribute", metavar="NAME", shell_complete=complete_attribute, help="The value is of this attribute, by an assigned name, a UUID or a name of the plan."),
    path_option("-p", "--plan", metavar="PLAN", help="The plan that knows the attribute."),
    option("--presentation", metavar="HEX", help="The value reads as this presentation format descriptor (0x2904) says."),
    to="reading",
    make=_reading,
    takes=("form",),
)  # fmt: skip
