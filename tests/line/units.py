"""Units and stations of a line in a folder, in a line each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

SERIAL = "  - read: device information/serial number string\n    name: the serial number\n"
# what a plan does with the serial number
SERIAL_STEPS = {
    "equals": SERIAL + "    expect: {value: {equals: '${serial}'}}\n",
    "read": SERIAL,
    "": "",
}


@dataclass(frozen=True)
class Unit:
    """A thing that can be put into a slot. `number` is what it says of itself, `address` the last three octets of its address;
    `battery` below 50 fails the plan. `link_ends` after so many seconds; `mark` is what no other
    thing tells: it shows which one answered."""

    number: int
    address: int = 0
    battery: int = 90
    rssi: int = -50
    spread: float = 2.0
    link_ends: float = 0.0
    tells_serial: bool = True
    interval: int = 50
    name: str = "VFL"
    more: str = ""
    mark: str = ""

    @property
    def serial(self) -> str:
        return serial(self.number)

    @property
    def at(self) -> str:
        """Its address."""
        return address(self.address or self.number)

    @property
    def is_good(self) -> bool:
        return self.battery >= 50 and not self.link_ends

    def but(self, **changes: object) -> Unit:
        return replace(self, **changes)  # type: ignore[arg-type]

    @property
    def text(self) -> str:
        """Its device file."""
        told = f"      - {{characteristic: serial number string, properties: [read], value: {self.serial}}}\n"
        ends = f"faults: {{disconnect_after: {self.link_ends} s}}\n" if self.link_ends else ""
        return (
            f"device: cold chain logger\naddress: '{self.at}'\n"
            f"advertising: {{interval: {self.interval} ms, data: {{flags: 0x06, name: {self.name}}}}}\n"
            f"rssi: {{mean: {self.rssi} dBm, spread: {self.spread} dB}}\n{ends}{self.more}"
            "services:\n  - service: device information\n    characteristics:\n"
            "      - {characteristic: model number string, properties: [read], value: VFL3}\n"
            f"      - {{characteristic: hardware revision string, properties: [read], value: M{self.mark or self.number}}}\n"
            f"{told if self.tells_serial else ''}"
            "  - service: battery service\n    characteristics:\n"
            f"      - {{characteristic: battery level, properties: [read], value: {self.battery} %}}\n"
        )


def serial(number: int) -> str:
    return f"VFL3-{number:06d}"


def address(number: int) -> str:
    """A static one of the fictional maker of the loggers."""
    return "C4:1F:5A:" + ":".join(f"{octet:02X}" for octet in number.to_bytes(3, "big"))


def station_text(
    slots: Mapping[str, str] | Sequence[str] = ("1",),
    *,
    unit: str = "slots/{slot}.yaml",
    apart: int = 30,
    air: str = "",
    nearby: str = "",
    links: int = 1,
    barcode: str = r"(?P<serial>VFL3-\d{6})",
    more: str = "",
) -> str:
    """A station whose `slots` have these radios; those of a sequence share its only one. The plan is in `plan.yaml`."""
    named = slots if isinstance(slots, Mapping) else dict.fromkeys(slots, "")
    radios = [name for name in dict.fromkeys(named.values()) if name]
    heads = (
        "radios:\n" + "".join(f"  {name}: {{radio: virtual, links: {links}}}\n" for name in radios)
        if radios
        else f"radio: virtual\nlinks: {links}\n"
    )
    places = "".join(
        f"  '{name}': {{label: SLOT {name}" + (f", radio: {radio}" if radio else "") + "}\n"
        for name, radio in named.items()
    )
    around = (f", air: {air}" if air else "") + (f", nearby: {nearby}" if nearby else "")
    return (
        f"station: line 3\nresults: results\n{heads}slots:\n{places}"
        f"rehearsal: {{unit: '{unit}', apart: {apart} dB{around}}}\n"
        f"products:\n  logger:\n    barcode: '{barcode}'\n    plan: plan.yaml\n{more}"
    )


def plan_text(*, scan: str = "500 ms", serial_step: str = "equals", more: str = "") -> str:
    """The mark of the unit is read first and last: who answers is on record."""
    given = "given:\n  serial: {matches: 'VFL3-\\d{6}'}\n" if serial_step == "equals" else ""
    return (
        f"plan: a check of a cold chain logger\ndevice:\n  select: {{name: 'VFL*'}}\n{given}{more}steps:\n"
        f"  - scan:\n    for: {scan}\n  - connect:\n    attempts: 3\n    within: 5 s\n"
        "  - read: device information/hardware revision string\n    name: who begins\n"
        f"{SERIAL_STEPS[serial_step]}"
        "  - read: battery level\n    expect: {value: {min: 50 %}}\n"
        "  - read: device information/hardware revision string\n    name: who ends\n  - disconnect:\n"
    )


def several(*units: Unit) -> str:
    """A device file with all of these."""
    parts = [unit.text.replace("device: cold", f"device: no. {at} cold", 1) for at, unit in enumerate(units)]
    return "devices:\n" + "".join("  - " + part.replace("\n", "\n    ").rstrip() + "\n" for part in parts)


def put_file(folder: Path, slot: str, unit: Unit | str | None) -> Path:
    """What is in a slot from the next look on: a unit, the text of a device file, nothing."""
    file = folder / "slots" / f"{slot}.yaml"
    file.parent.mkdir(exist_ok=True)
    if unit is None:
        file.unlink(missing_ok=True)
    else:
        file.write_text(unit if isinstance(unit, str) else unit.text, encoding="utf-8")
    return file
