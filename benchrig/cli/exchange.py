"""`benchrig exchange`: a write to a device on the desk, and what it answers by notification."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.completing import complete_attribute
from benchrig.cli.desk import device_options, format_options
from benchrig.cli.failing import code_of, tell_failure
from benchrig.cli.groups import grouped
from benchrig.cli.heeding import acknowledged, at_desk_heeding, bytes_given
from benchrig.cli.options import acknowledge_option, flag, json_option, option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.typed import TakesNegative, as_typed, typed_bytes
from benchrig.errors import AttError, AttributeAmbiguous, AttributeMissing, MalformedPdu, MalformedValue, NoAnswer

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.exchanging import Inquiry
    from benchrig.desk.writing import Sending
    from benchrig.steps.answers import Answers
    from benchrig.values.format import Format

_FAILURES = (AttError, AttributeMissing, AttributeAmbiguous, MalformedPdu, MalformedValue, NoAnswer)


def _answers(**given: str | None) -> Answers | None:
    from benchrig.desk.typed_answers import typed_answers

    return typed_answers({f"--{name.replace('_', '-')}": text for name, text in given.items() if text is not None})


# Which of several answers is the last one; the command gets them as `answers`.
answer_options = grouped(
    option("--last-starts-with", metavar="HEX", help="Join several answers, until one that begins with these bytes."),
    option("--last-equals", metavar="HEX", help="Until one that is these bytes, and no part of the value."),
    option("--last-shorter-than", metavar="BYTES", help="Until one that is shorter: a number, or payload for what the link carries at once."),
    option("--last-count", metavar="NUMBER", help="Until NUMBER answers have come."),
    option("--skip", metavar="NUMBER", help="Bytes at the begin of each of several answers that are its header."),
    option("--counter", metavar="NUMBER", help="Which of these bytes, from 0, counts the answers: what is lost then is a failure."),
    to="answers",
    make=_answers,
)  # fmt: skip


@click.command(cls=TakesNegative, short_help="Write an attribute, and show what answers.")
@click.argument("attribute", shell_complete=complete_attribute)
@click.argument("value", nargs=-1, callback=as_typed)
@option("--raw", metavar="HEX", help="Write these bytes.")
@option(
    "--reply",
    metavar="ATTRIBUTE",
    shell_complete=complete_attribute,
    help="The attribute that answers. Default: the one that is written.",
)
@option("--starts-with", metavar="HEX", help="Take answers that begin with these bytes, and pass over others.")
@answer_options
@flag("--no-response", help="Write without waiting for the device to confirm.")
@acknowledge_option()
@format_options
@json_option()
@device_options
def exchange(attribute: str, value: tuple[str, ...], raw: str | None, reply: str | None, starts_with: str | None,
             answers: Answers | None, no_response: bool, acknowledge: bool, form: Format | None, as_json: bool,
             desk: DeskOptions) -> None:  # fmt: skip
    """Connect, subscribe to what answers, write VALUE to ATTRIBUTE, and show the answer. The value is what a plan would
    have there, as with write; --as and what goes with it are the format of the answer.

    A write can move, heat or unlock a device, and a wrong one can disable it. So the word 'yes' is asked for first;
    with nobody at the terminal --acknowledge is needed. Exits with 1 when the device is absent, refuses, or does not
    answer, and when the answer does not fit its format.

    \b
    Example:
      benchrig exchange command --raw 01 -p product.yaml
      benchrig exchange control --raw 05 --reply answer --last-starts-with FF --skip 1 -p product.yaml
    """
    from benchrig.desk.exchanging import Inquiry
    from benchrig.desk.writing import Order

    data = bytes_given(value, raw, None, what="an exchange needs either VALUE or --raw")
    wanted = typed_bytes(starts_with, "--starts-with: ") if starts_with is not None else b""
    order = Order(attribute, value, data, form, response=not no_response)
    inquiry = Inquiry(order, reply or "", wanted, answers)
    inquiry.check(desk.names)
    result = at_desk_heeding(desk, acknowledge, lambda at, *how: _exchanged(at, inquiry, *how))
    with whatever_the_output_does():
        _show(result, as_json=as_json)
    if "error" in result or result["answer"].wrong:
        sys.exit(code_of(result.get("cause", "device")))


async def _exchanged(at: Desk, inquiry: Inquiry, sending: Sending, caution: str | None) -> dict[str, Any]:
    """What was done, or what the device said to it."""
    from benchrig.desk.exchanging import exchange, exchanged_data, make_ready

    try:
        link, ready = await acknowledged(at, inquiry.order, caution, lambda link: make_ready(at, link, inquiry))
        done, _ = await exchange(at, link, ready, sending)
    except _FAILURES as error:
        refused = {"attribute": inquiry.order.attribute, **error.data}
        return refused | ({"att_error": error.name} if isinstance(error, AttError) else {})
    return exchanged_data(done) | ({"cause": "device"} if done.error else {})


def _show(result: dict[str, Any], *, as_json: bool) -> None:
    if as_json:
        print_json(result)
        return
    if "answer" in result:
        from benchrig.cli.content_text import exchanged_lines

        echo("\n".join(exchanged_lines(result)), err=bool(result["answer"].wrong))
    if "error" in result:
        tell_failure(result)
