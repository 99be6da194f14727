"""`benchrig decode`: what bytes say."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.options import flag, json_option, option, path_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.typed import Reading, typed_bytes, value_options
from benchrig.errors import MalformedValue, UsageError
from benchrig.plan.given_words import brought
from benchrig.terminal import console

if TYPE_CHECKING:
    from benchrig.desk.decoding import Decoded

# The longest file that is taken for one value, or one payload.
LONGEST_FILE = 65536
_WAYS = "--as, --attribute, --presentation, --advertising or --address"


@click.command(short_help="Take bytes apart: a value, an advertising payload, an address.")
@click.argument("octets", nargs=-1, metavar="[HEX]…")
@value_options
@flag("--advertising", help="The bytes are an advertising payload or a scan response.")
@option("--address", metavar="ADDRESS", help="Say what kind of address this is, instead of bytes.")
@option(
    "--irk",
    "irks",
    multiple=True,
    metavar="HEX",
    help="Identity resolving key that the address may belong to, most significant byte first; may be repeated.",
)
@path_option(
    "--file", "file", allow_dash=True, help="The bytes of a file; - for standard input with hex text, one value a line."
)
@json_option("One JSON document, and one a line with --file -.")
def decode(octets: tuple[str, ...], reading: Reading, advertising: bool, address: str | None, irks: tuple[str, ...],
           file: Path | None, as_json: bool) -> None:  # fmt: skip
    """Show which bytes are what, with values and units, and what is wrong with them; no radio is needed. The bytes
    stand in the order in which they come over the air.

    Exits with 1 when the bytes do not fit, and with 5 when an address belongs to none of the keys.

    \b
    Example:
      benchrig decode 66 08 --as temperature
      benchrig decode 1E50100033039A02 --as "heart rate measurement"
      benchrig decode 5C02 --as sint16 --scale 0.01 --unit °C
      benchrig decode 020106 03030D18 --advertising
      benchrig decode --presentation 0EFE2F27010000          what the descriptor says
      benchrig decode 6608 --presentation 0EFE2F27010000     a value that it describes
      benchrig decode --address 70:81:94:0D:FB:AA --irk ec0234a357c8ad05341010a60a397d9b
    """  # fmt: skip
    bare = not octets and file is None
    _check_ways(reading, advertising, address, irks, bare)
    if address is not None:
        sys.exit(_show_address(address, irks, as_json=as_json))
    if reading.presentation is not None and bare:
        from benchrig.desk.decoding import decode_presentation

        sys.exit(_show([decode_presentation(reading.presentation)], _table, as_json=as_json))
    read = _reader(reading)
    if file is not None and str(file) == "-" and not octets:
        sys.exit(_show(map(read, _typed_lines()), _line, as_json=as_json))
    sys.exit(_show([read(_bytes(octets, file))], _table, as_json=as_json))


def _check_ways(reading: Reading, advertising: bool, address: str | None, irks: tuple[str, ...], bare: bool) -> None:
    ways = (reading != Reading(None, None)) + advertising + (address is not None)
    if ways != 1:
        wrong = "nothing says what the bytes are" if not ways else "the bytes cannot be several things at once"
        raise UsageError(wrong, advice=f"give one of {_WAYS}")
    if irks and address is None:
        raise UsageError("--irk goes with --address")
    if address is not None and not bare:
        raise UsageError("give either HEX or --address, not both", advice="leave one of the two out")


def _reader(reading: Reading) -> Callable[[bytes], Decoded]:
    """What reads the bytes; without a format they are advertising. MalformedValue for a bad presentation format."""
    from benchrig.desk.decoding import decode_payload, decode_value
    from benchrig.values import catalogue

    form, presentation = reading.form, reading.presentation
    presented = form if presentation is None else catalogue.format_from_presentation(presentation)
    return decode_payload if presented is None else lambda data: decode_value(presented, data)


def _bytes(octets: tuple[str, ...], file: Path | None) -> bytes:
    from benchrig.files import read_bounded

    if bool(octets) == (file is not None):
        raise UsageError("the bytes are missing" if file is None else "there are bytes in HEX and in --file",
                         advice="write them as hex text, or name a --file")  # fmt: skip
    return read_bounded(file, LONGEST_FILE, "which no value has") if file else typed_bytes(" ".join(octets))


def _typed_lines() -> Iterator[bytes]:
    """One value a line of the standard input; empty lines are passed over."""
    for number, line in enumerate(sys.stdin, 1):
        if line.strip():
            yield typed_bytes(line, f"line {number}: ")


def _show(values: Iterable[Decoded], show: Callable[[Decoded], None], *, as_json: bool) -> int:
    """Print until there are no more values, or nobody reads them; the exit code of what was decoded."""
    codes: set[int] = set()
    with whatever_the_output_does():
        for decoded in values:
            codes.add(1 if decoded.wrong else 0)
            print_json(decoded.document) if as_json else show(decoded)
    return max(codes, default=5)


def _table(decoded: Decoded) -> None:
    from benchrig.cli.decoded_text import render

    render(decoded, console())


def _line(decoded: Decoded) -> None:
    from benchrig.cli.decoded_text import one_line

    echo(one_line(decoded))


def _show_address(address: str, irks: tuple[str, ...], *, as_json: bool) -> int:
    from benchrig.values.address import kind_of_random, resolves

    try:
        kind = kind_of_random(address)
        keys = {
            irk: resolves(typed_bytes(brought(irk) if irk.startswith("@") else irk, "--irk: "), address) for irk in irks
        }
    except MalformedValue as error:
        raise UsageError(error.message, advice=error.advice) from error
    with whatever_the_output_does():
        if as_json:
            made = [{"irk": irk, "resolves": resolved} for irk, resolved in keys.items()]
            print_json({"address": address.upper(), "random_kind": kind, "keys": made})
        else:
            echo(f"{address.upper()}: {kind}, where it is a random address")
            for irk, resolved in keys.items():
                echo(f"key {irk}: the address {'belongs' if resolved else 'does not belong'} to it")
    return 0 if not keys or any(keys.values()) else 5
