"""`benchrig write`: one attribute of a device on the desk."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.completing import complete_attribute
from benchrig.cli.desk import device_options, format_options
from benchrig.cli.failing import code_of, tell_failure
from benchrig.cli.heeding import acknowledged, at_desk_heeding, bytes_given
from benchrig.cli.options import acknowledge_option, flag, json_option, option, path_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.typed import TakesNegative, as_typed
from benchrig.errors import AttError, AttributeAmbiguous, AttributeMissing, MalformedValue

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.writing import Order, Sending
    from benchrig.values.format import Format


@click.command(cls=TakesNegative, short_help="Write an attribute of a device.")
@click.argument("attribute", shell_complete=complete_attribute)
@click.argument("value", nargs=-1, callback=as_typed)
@option("--raw", metavar="HEX", help="Write these bytes.")
@path_option("--file", "file", there=True, help="Write the bytes of a file.")
@flag("--read-back", help="Read it again; another value is a failure.")
@flag("--no-response", help="Write without waiting for the device to confirm.")
@acknowledge_option()
@format_options
@json_option()
@device_options
def write(attribute: str, value: tuple[str, ...], raw: str | None, file: Path | None, read_back: bool, no_response: bool,
          acknowledge: bool, form: Format | None, as_json: bool, desk: DeskOptions) -> None:  # fmt: skip
    """Connect and write VALUE to ATTRIBUTE. The value is what a plan would have there: a number with its unit, true,
    a word, text, or FIELD=VALUE words for a structure.

    A write can move, heat or unlock a device, and a wrong one can disable it. So the word 'yes' is asked for first;
    with nobody at the terminal --acknowledge is needed. Exits with 1 when the device is absent, refuses, or does not
    keep the value.

    \b
    Example:
      benchrig write "alarm limit" "8 °C" --read-back -p product.yaml
      benchrig write 6b1d0003-9a53-4c86-8a3e-2f0f6c1d7e40 --raw "81 00" --no-response
    """
    from benchrig.desk.writing import Order

    data = bytes_given(value, raw, file, what="a write needs one of VALUE, --raw and --file")
    order = Order(attribute, value, data, form, response=not no_response, read_back=read_back)
    order.check(desk.names)
    result = at_desk_heeding(desk, acknowledge, lambda at, *how: _written(at, order, *how))
    with whatever_the_output_does():
        _show(result, as_json=as_json)
    if "error" in result:
        sys.exit(code_of(result["cause"]))


async def _written(at: Desk, order: Order, sending: Sending, caution: str | None) -> dict[str, Any]:
    """What was done, or what the device said to it."""
    import msgspec

    from benchrig.desk.writing import prepare, send

    try:
        link, prepared = await acknowledged(at, order, caution, lambda link: prepare(at, link, order))
        written = await send(at, link, prepared, sending)
    except (AttError, AttributeMissing, AttributeAmbiguous, MalformedValue) as error:
        refused = {"attribute": order.attribute, **error.data}
        return refused | ({"att_error": error.name} if isinstance(error, AttError) else {})
    # a read-back that was not asked for, and an error that did not come, are left out
    done = {key: item for key, item in msgspec.structs.asdict(written).items() if item not in (None, "")}
    return done | ({"cause": "device"} if written.error else {})


def _show(result: dict[str, Any], *, as_json: bool) -> None:
    if as_json:
        print_json(result)
        return
    if "written" in result:
        from benchrig.cli.content_text import written_lines

        echo("\n".join(written_lines(result)))
    if "error" in result:
        tell_failure(result)
