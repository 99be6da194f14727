"""`benchrig devices`: what simulated device files offer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.out import whatever_the_output_does
from benchrig.terminal import console
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from rich.tree import Tree

    from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated
    from benchrig.radio.virtual.gatt_spec import CharacteristicSpec
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
        found = load_devices(files, problems)
        problems.raise_if_any()
        screen = console()
        with whatever_the_output_does():
            for device in found:
                screen.print(_tree(device))


def _tree(device: Simulated) -> Tree:
    from rich.text import Text
    from rich.tree import Tree

    from benchrig.radio.virtual.device_spec import DeviceSpec
    from benchrig.steps.attribute import Names

    said, rssi = device.advertised, device.rssi
    level = f"{rssi.dbm:g} dBm" + (f" ± {rssi.db:g} dB" if rssi.db else "")
    address = f"{device.own_address} ({device.own_address_type})"
    head = f"{device.name}  {address}, every {said.interval * 1000:g} ms, {level}"
    tree = Tree(Text(plain(head, _LINE) + ("" if said.connectable else ", not connectable")))
    if isinstance(device, DeviceSpec):
        for line in filter(None, (_pairing(device), _privacy(device))):
            tree.add(Text(plain(line, _LINE)))
    names = Names()
    for service in device.table:
        branch = tree.add(Text(plain(names.label(service.service, "service"), _LINE)))
        for characteristic in service.characteristics:
            branch.add(Text(plain(_characteristic(characteristic, names), _LINE)))
    return tree


def _pairing(device: DeviceSpec) -> str:
    """How it pairs, and what it tells of itself out of band: that is on a label of a real one."""
    security = device.security
    words = f"pairs as {security.capability}, {security.pairing}" if security.capability != "none" else ""
    if not security.out_of_band or not security.out_of_band.random:
        return words
    from benchrig.radio.virtual.security import oob_context

    confirm = oob_context(device.name, security.out_of_band.random).share().c[::-1].hex()
    return f"{words or 'pairs'}, out of band: random {security.out_of_band.random.hex()}, confirm {confirm}"


def _privacy(device: DeviceSpec) -> str:
    """How long it has each of its addresses."""
    privacy = device.privacy
    if privacy is None:
        return ""
    changes = "that never changes" if privacy.never_rotates else f"another one every {privacy.every}"
    return f"private addresses: {privacy.address}, {changes}"


def _characteristic(spec: CharacteristicSpec, names: Names) -> str:
    from benchrig.radio.virtual.gatt_spec import PROPERTIES

    label = names.label(spec.characteristic, "characteristic")
    shown = label if spec.called in (label, "") else f"{spec.called} ({label})"
    properties = ", ".join(name for name, bit in PROPERTIES.items() if spec.property_bits & bit)
    form = f"  {spec.format.describe()}" if spec.format else ""
    return f"{shown}  [{properties}]{form}{_needs(spec)}"


def _needs(spec: CharacteristicSpec) -> str:
    """What the link must have for which access."""
    needs = {"read": spec.reading, "write": spec.writing, "subscribe": spec.subscribing}
    words = [f"{access}: {need.level.words}{_key_size(need.key_size)}" for access, need in needs.items() if need.level]
    return f"  needs {', '.join(words)}" if words else ""


def _key_size(size: int) -> str:
    from benchrig.radio.security import SMALLEST_KEY

    return f" with a key of {size} bytes" if size > SMALLEST_KEY else ""
