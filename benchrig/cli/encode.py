"""`benchrig encode`: the bytes of a value."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.options import flag, json_option, path_option
from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.cli.typed import Reading, TakesNegative, as_typed, value_options
from benchrig.errors import MalformedValue, UnfitValue, UsageError
from benchrig.text.escape import hex_text

if TYPE_CHECKING:
    from benchrig.values.format import Format


@click.command(cls=TakesNegative, short_help="Give the bytes of a value.")
@click.argument("words", nargs=-1, required=True, metavar="VALUE…", callback=as_typed)
@value_options
@path_option("--out", help="Write the bytes into this file.")
@flag("--force", help="With --out: write over a file that exists.")
@json_option()
def encode(words: tuple[str, ...], reading: Reading, out: Path | None, force: bool, as_json: bool) -> None:
    """Print the bytes of VALUE as hex text; no radio is needed. The value is what a plan would write: a number with its
    unit, true, a word, text, or FIELD=VALUE words for a structure.

    \b
    Example:
      benchrig encode '21.5 °C' --as temperature
      benchrig encode -12.5 mV --as sint16 --scale 0.1 --unit mV
      benchrig encode heart_rate='80 bpm' contact=contact --as "heart rate measurement"
      benchrig encode '21.5 °C' --presentation 0EFE2F27010000
    """  # fmt: skip
    from benchrig.desk.decoding import decode_value
    from benchrig.desk.writing import value_of
    from benchrig.files import writable
    from benchrig.steps.payload import encode as bytes_of

    if out is not None:
        writable(out, force=force)
    try:
        chosen = _format(reading)
        data = bytes_of(chosen, value_of(chosen, words), None)
    except (MalformedValue, UnfitValue) as error:
        raise UsageError(error.message, advice=error.advice) from error
    if out is not None:
        _save(out, data)
    with whatever_the_output_does():
        if as_json:
            print_json(decode_value(chosen, data).document)
        elif out is None:
            echo(hex_text(data.hex().upper(), len(data)))


def _format(reading: Reading) -> Format:
    from benchrig.values import catalogue

    if reading.form is not None:
        return reading.form
    if reading.presentation is None:
        raise UsageError("no format given", advice="give --as, --attribute or --presentation")
    return catalogue.format_from_presentation(reading.presentation)


def _save(path: Path, data: bytes) -> None:
    from benchrig.source.problem import counted

    try:
        path.write_bytes(data)
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from error
    tell(f"{counted(len(data), 'byte')} to {path}")
