"""The fields of advertising data and scan response, each missing or wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeAlias

from msgspec.structs import replace

from benchrig.faults.fault import Weight
from benchrig.faults.mutation import Change
from benchrig.faults.texts import counted, varied
from benchrig.faults.uuids import next_digit
from benchrig.radio.virtual.advertising_spec import GENERAL_DISCOVERABLE, DataSpec, ManufacturerSpec
from benchrig.radio.virtual.device_spec import GENERIC_ACCESS, DeviceSpec
from benchrig.radio.virtual.words import Hex, ServiceUuid
from benchrig.values.quantity import Level

Told: TypeAlias = tuple[str, str, Weight, Change]
# A field as it is broken: what is said of it, and the data with it
Broken: TypeAlias = tuple[str, str, Weight, DataSpec]

_FACTORY_NAME = "FACTORY TEST"
_LEAK = b"SN:0042"
_FLAGS = {0x01: "limited discoverable", 0x02: "general discoverable", 0x04: "without BR/EDR"}


def blocks(device: DeviceSpec) -> Iterator[Told]:
    advertising = device.advertising
    data = advertising.data or DataSpec(flags=GENERAL_DISCOVERABLE, name=device.device)
    for key, block in (("data", data), ("scan_response", advertising.scan_response)):
        for kind, says, weight, changed in _of_block(block) if block else ():
            yield kind, says, weight, _with(key, changed)
    if advertising.scan_response:
        yield "no scan response", "It has no scan response.", "serious", _with("scan_response", None)
        yield from _both(data, advertising.scan_response)
    yield "no data", "It advertises nothing of itself.", "serious", _with("data", DataSpec())
    yield from _leaks(data, advertising.scan_response)


def _with(key: str, block: DataSpec | None) -> Change:
    """The table tells name and appearance as before: they are given on their own there."""

    def change(device: Any) -> Any:
        advertising = replace(device.advertising, **{key: block})
        broken = replace(device, advertising=advertising)
        told = (advertising.name, advertising.appearance) == (device.advertising.name, device.advertising.appearance)
        own = any(one.service == GENERIC_ACCESS for one in device.services)
        if told or own or not device.generic_access:
            return broken
        return replace(broken, services=device.table)

    return change


def _both(data: DataSpec, response: DataSpec) -> Iterator[Told]:
    def change(device: Any) -> Any:
        return replace(device, advertising=replace(device.advertising, data=response, scan_response=data))

    yield (
        "data and scan response exchanged",
        "Its data and its scan response are in each other's place.",
        "minor",
        change,
    )


def _of_block(block: DataSpec) -> Iterator[Broken]:
    for fields in (_name, _services, _numbers, _flags, _manufacturer, _service_data):
        yield from fields(block)
    if block.raw:
        yield (
            "no raw data",
            "What it advertises beside the usual is missing.",
            "minor",
            replace(block, raw=Hex(b"")),
        )


def _name(block: DataSpec) -> Iterator[Broken]:
    name = block.name
    if not name:
        return
    neighbour = counted(name, 1) if counted(name, 1) != name else varied(name)
    yield "no name", "It does not advertise its name.", "serious", replace(block, name=None)
    yield "name of a neighbour", f"It advertises the name '{neighbour}'.", "serious", replace(block, name=neighbour)
    if short := name[: len(name) // 2]:
        says = f"It advertises its name cut short: '{short}'."
        yield "name cut short", says, "minor", replace(block, name=None, short_name=short)
    says = f"It advertises the name of its factory mode: '{_FACTORY_NAME}'."
    yield "factory mode", says, "grave", replace(block, name=_FACTORY_NAME)


def _services(block: DataSpec) -> Iterator[Broken]:
    for index, uuid in enumerate(block.services):
        others = [*block.services[:index], *block.services[index + 1 :]]
        wrong = ServiceUuid.from_source(next_digit(str(uuid)))
        yield f"no {uuid.written}", f"It does not advertise {uuid.written}.", "serious", replace(block, services=others)
        says = f"It advertises {uuid.written} with one wrong digit."
        changed = replace(block, services=[*block.services[:index], wrong, *block.services[index + 1 :]])
        yield f"wrong {uuid.written}", says, "serious", changed
    further = ServiceUuid.from_source("heart rate")
    if block.services and further not in block.services:
        says = "It advertises the heart rate service, which is of another product."
        yield "extra service", says, "minor", replace(block, services=[*block.services, further])


def _numbers(block: DataSpec) -> Iterator[Broken]:
    if block.tx_power:
        other = Level(block.tx_power.number - 8, "dBm")
        yield "no transmit power", "It does not tell its power.", "minor", replace(block, tx_power=None)
        yield "another transmit power", f"It tells a power of {other}.", "minor", replace(block, tx_power=other)
    if block.appearance is not None:
        yield "no appearance", "It does not tell what it is.", "minor", replace(block, appearance=None)
        says = "It tells that it is something else."
        yield "another appearance", says, "minor", replace(block, appearance=block.appearance ^ 0x0040)


def _flags(block: DataSpec) -> Iterator[Broken]:
    if block.flags is None:
        return
    yield "no flags", "It does not send its flags.", "minor", replace(block, flags=None)
    for bit, says in _FLAGS.items():
        word = "no longer" if block.flags & bit else "also"
        changed = replace(block, flags=block.flags ^ bit)
        yield f"flag {bit:#04x}", f"By its flags it is {word} {says}.", "minor", changed


def _manufacturer(block: DataSpec) -> Iterator[Broken]:
    made = block.manufacturer
    if made is None:
        return
    yield "no manufacturer data", "It sends no data of its maker.", "serious", replace(block, manufacturer=None)
    swapped = int.from_bytes(made.company.to_bytes(2, "little"), "big")
    for kind, says, changed in (
        ("another company", "Its data are those of another maker.", replace(made, company=made.company ^ 1)),
        ("company swapped", "The number of its maker has its bytes exchanged.", replace(made, company=swapped)),
    ):
        yield kind, says, "serious", replace(block, manufacturer=changed)
    yield from _octets(
        "manufacturer data", made.data, lambda data: replace(block, manufacturer=replace(made, data=data))
    )
    if made.fresh:
        says = "Its random bytes are missing."
        yield "no random bytes", says, "minor", replace(block, manufacturer=replace(made, fresh=0))
    if made.counter:
        yield "no counter", "Its counter is missing.", "minor", replace(block, manufacturer=replace(made, counter=None))
        kept = replace(made, counter=replace(made.counter, anew=False))
        says = "Its counter continues when the address changes, so that it can be followed."
        yield "counter kept", says, "grave", replace(block, manufacturer=kept)


def _octets(what: str, data: bytes, put: Callable[[Hex], DataSpec]) -> Iterator[Broken]:
    for at, octet in enumerate(data):
        wrong = Hex(data[:at] + bytes([octet ^ 1]) + data[at + 1 :])
        yield f"wrong byte {at + 1} of {what}", f"Byte {at + 1} of its {what} is wrong.", "serious", put(wrong)
    if data:
        yield f"{what} a byte short", f"Its {what} lacks the last byte.", "serious", put(Hex(data[:-1]))
        says = f"Its {what} has its bytes in reverse order."
        yield f"{what} in reverse order", says, "serious", put(Hex(data[::-1]))


def _service_data(block: DataSpec) -> Iterator[Broken]:
    present: Mapping[str, Hex] = block.service_data
    for name, data in present.items():
        others = {key: one for key, one in present.items() if key != name}
        yield f"no data of {name}", f"It sends no data of {name}.", "serious", replace(block, service_data=others)
        yield from _octets(f"data of {name}", data, lambda made, name=name: _put(block, name, made))  # type: ignore[misc]


def _put(block: DataSpec, name: str, data: Hex) -> DataSpec:
    return replace(block, service_data={**block.service_data, name: data})


def _leaks(data: DataSpec, response: DataSpec | None) -> Iterator[Told]:
    """What nobody is to know goes out in further data of the maker: in the data, or in the scan response."""
    says = "It tells its serial number to everybody, in data of its maker that nobody promised."
    for key, block in (("data", data), ("scan_response", response or DataSpec())):
        made = block.manufacturer
        longer = (
            replace(made, data=Hex(made.data + _LEAK)) if made else ManufacturerSpec(company=0xFFFF, data=Hex(_LEAK))
        )
        where = "in its data" if key == "data" else "in its scan response"
        yield f"serial number {where}", says, "serious", _with(key, replace(block, manufacturer=longer))
