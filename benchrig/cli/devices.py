"""`benchrig devices`: what simulated device files offer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.common import console, errors_for_people, whatever_the_output_does

if TYPE_CHECKING:
    from rich.tree import Tree

    from benchrig.radio.virtual.model import CharacteristicModel, DeviceModel
    from benchrig.steps.attribute import Names

_LINE = 1000


@click.command(short_help="Show what simulated device files offer.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE…")
def devices(files: tuple[Path, ...]) -> None:
    """Show the simulated devices of device files: how they advertise, and their attribute tables.

    \b
    Example:
      benchrig devices testplans/devices/logger.yaml
    """
    with errors_for_people():
        from benchrig.radio.virtual import load_devices
        from benchrig.source.problem import Problems

        problems = Problems()
        models = load_devices(files, problems)
        problems.raise_if_any()
        screen = console()
        with whatever_the_output_does():
            for model in models:
                screen.print(_tree(model))


def _tree(model: DeviceModel) -> Tree:
    from rich.text import Text
    from rich.tree import Tree

    from benchrig.steps.attribute import Names
    from benchrig.text.escape import plain

    advertising = model.advertising
    level = f"{model.rssi_mean:g} dBm" + (f" ± {model.rssi_spread:g} dB" if model.rssi_spread else "")
    head = f"{model.name}  {model.address} ({model.address_type}), every {advertising.interval * 1000:g} ms, {level}"
    tree = Tree(Text(plain(head, _LINE) + ("" if advertising.connectable else ", not connectable")))
    names = Names()
    for service in model.services:
        branch = tree.add(Text(plain(names.label(service.uuid, "service"), _LINE)))
        for characteristic in service.characteristics:
            branch.add(Text(plain(_characteristic(characteristic, names), _LINE)))
    return tree


def _characteristic(model: CharacteristicModel, names: Names) -> str:
    from benchrig.radio.virtual.model import PROPERTIES

    label = names.label(model.uuid, "characteristic")
    shown = label if model.name in (label, "") else f"{model.name} ({label})"
    properties = ", ".join(name for name, bit in PROPERTIES.items() if model.properties & bit)
    form = f"  {model.format.describe()}" if model.format else ""
    return f"{shown}  [{properties}]{form}"
