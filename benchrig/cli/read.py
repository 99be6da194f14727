"""`benchrig read`: attributes of a device on the desk."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.completing import attributes_argument
from benchrig.cli.desk import at_desk, device_options, format_options, known_names
from benchrig.cli.failing import code_of, tell_failure
from benchrig.cli.options import json_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.errors import DeviceError, LinkLost

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.inspection import Content
    from benchrig.values.format import Format


@click.command(short_help="Read attributes of a device.")
@attributes_argument()
@format_options
@json_option("One JSON document an attribute and line.")
@device_options
def read(attributes: tuple[str, ...], form: Format | None, as_json: bool, desk: DeskOptions) -> None:
    """Connect and read attributes, by the names that plans use. Exits with 1 when the device is absent or refuses, and
    when a value does not fit its format.

    \b
    Example:
      benchrig read "battery level" temperature -d 'VFL-*'
      benchrig read 6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40 --as uint16 --unit mV
    """
    known_names(desk, attributes)
    results: list[dict[str, Any]] = []
    try:
        at_desk(desk, lambda at: _read_all(at, attributes, form, results))
    finally:
        # what was read stays read, whatever came of the rest
        with whatever_the_output_does():
            for result in results:
                print_json(result) if as_json else _show(result)
    failed = [result.get("cause", "device") for result in results if "error" in result or result["content"].wrong]
    if failed:
        sys.exit(min(map(code_of, failed)))  # what the device did counts before what the station cannot do


async def _read_all(
    desk: Desk, attributes: tuple[str, ...], form: Format | None, results: list[dict[str, Any]]
) -> None:
    """Into `results`, one for each attribute. A request that nobody answers costs the link, and the reads after it."""
    from benchrig.desk.inspection import LOST_BEFORE, content

    _, link = await desk.reach()
    for name in attributes:
        if not link.is_up:
            results.append({"attribute": name, **LinkLost(f"{name}: {LOST_BEFORE}").data})
            continue
        try:
            target, data = await desk.read(link, name)
        except (DeviceError, LinkLost) as error:
            results.append({"attribute": name, **error.data})
        else:
            known = form or await desk.format_of(link, target)
            results.append({"attribute": name, "content": content(data, known)})


def _show(result: dict[str, Any]) -> None:
    if "error" in result:
        tell_failure(result)
        return
    from benchrig.cli.content_text import content_lines

    seen: Content = result["content"]
    echo("\n".join(content_lines(result["attribute"], seen)), err=bool(seen.wrong))
