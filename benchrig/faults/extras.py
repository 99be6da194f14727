"""Services and characteristics that were forgotten in a product: of its factory, of its developers, of another one."""

from __future__ import annotations

from benchrig.faults.fault import Weight
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, NotifySpec, Property, ServiceSpec
from benchrig.radio.virtual.words import CharacteristicUuid, Hex, ServiceUuid
from benchrig.values.quantity import Duration

_UUID = "e3a4{:04x}-27c1-4f5b-9d0e-58b1c6f2a713".format
_FACTORY, _CONSOLE, _UPDATE = 0x10, 0x20, 0x30


def _characteristic(number: int, name: str, *properties: Property, as_: str = "hex", raw: bytes) -> CharacteristicSpec:
    return CharacteristicSpec(
        characteristic=CharacteristicUuid.from_source(_UUID(number)),
        name=name,
        as_=as_,
        properties=list(properties),
        raw=Hex(raw),
    )


def _service(number: int, *characteristics: CharacteristicSpec) -> ServiceSpec:
    return ServiceSpec(service=ServiceUuid.from_source(_UUID(number)), characteristics=list(characteristics))


FACTORY = _service(_FACTORY, _characteristic(_FACTORY + 1, "factory access", "read", "write", raw=b"\x00" * 4))
CONSOLE = _service(
    _CONSOLE,
    _characteristic(_CONSOLE + 1, "debug console in", "write", "write without response", as_="utf8", raw=b""),
    _characteristic(_CONSOLE + 2, "debug console out", "notify", as_="utf8", raw=b"> "),
)
UPDATE = _service(
    _UPDATE,
    _characteristic(_UPDATE + 1, "image control", "write", "notify", raw=b"\x00"),
    _characteristic(_UPDATE + 2, "image data", "write without response", raw=b""),
)
PULSE = ServiceSpec(
    service=ServiceUuid.from_source("heart rate"),
    characteristics=[
        CharacteristicSpec(
            characteristic=CharacteristicUuid.from_source("heart rate measurement"),
            name="heart rate of another product",
            properties=["notify"],
            raw=Hex(b"\x00\x3c"),
            notify=NotifySpec(period=Duration.of(1.0)),
        )
    ],
)
EXTRA_SERVICES: tuple[tuple[str, str, Weight, ServiceSpec], ...] = (
    ("factory service", "The service of the factory is still open: everybody can read and write it.", "grave", FACTORY),
    ("console service", "The console of the developers is open to everybody by radio.", "grave", CONSOLE),
    ("update service", "Everybody can send it a firmware image.", "grave", UPDATE),
    ("service of another product", "It has the heart rate service, which is of another product.", "minor", PULSE),
)


def extra_characteristic(service: ServiceSpec) -> CharacteristicSpec:
    """A further one of a service, which nobody has documented."""
    number = int(str(service.service)[4:8], 16)
    return _characteristic(number, f"undocumented {number:04x}", "read", "write", raw=b"\x00")
