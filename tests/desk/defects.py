"""Sound devices and the changes that break one rule each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from benchrig.desk.findings import Severity
from benchrig.faults.mutation import Change, Mutation, added, behaving, dropped, in_turn, replaced, within
from benchrig.radio.virtual.advertising_spec import DataSpec, ManufacturerSpec
from benchrig.radio.virtual.behaviours import AttError
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec, ServiceSpec
from benchrig.radio.virtual.security_spec import PasskeyText
from benchrig.radio.virtual.words import AddressText, AttErrorCode, Hex, ServiceUuid
from tests.desk.carriers import OWN, carrier, part


@dataclass(frozen=True)
class Case:
    """`change` at `path` of the family's device breaks the rule at `where`; `sound` there breaks none."""

    family: str
    rule: str
    path: str
    change: Change
    sound: Change | None = None
    where: str | None = None  # the path, where it is written otherwise
    severity: Severity = "error"

    def broken(self) -> DeviceSpec:
        return Mutation(self.rule, self.path, self.change).apply(carrier(self.family))

    def mended(self) -> DeviceSpec | None:
        return Mutation(f"no {self.rule}", self.path, self.sound).apply(carrier(self.family)) if self.sound else None

    @property
    def place(self) -> str:
        return self.path if self.where is None else self.where


def raw(octets: str) -> Change:
    return replaced(value=None, raw=Hex.from_source(octets))


def value(written: Any) -> Change:
    return replaced(value=written, raw=None)


def properties(*names: str) -> Change:
    return replaced(properties=[*names])


def with_descriptor(keys: str) -> Change:
    return added(part(DescriptorSpec, f"{{{keys}}}"))


def with_characteristic(keys: str) -> Change:
    return added(part(CharacteristicSpec, f"{{{keys}}}"))


def with_service(keys: str) -> Change:
    return added(part(ServiceSpec, f"{{{keys}}}"))


def data(**fields: Any) -> Change:
    """Of the advertising data."""
    return within("advertising", within("data", replaced(**fields)))


def response(**fields: Any) -> Change:
    """Of the scan response."""
    return within("advertising", replaced(scan_response=DataSpec(**fields)))


def refused(code: int) -> Change:
    return behaving("on_read", AttError(att_error=AttErrorCode(code)))


def without_generic_access(device: DeviceSpec) -> DeviceSpec:
    return Mutation("", "generic access", dropped).apply(replaced(generic_access=False)(device))


PARAMETERS = "peripheral preferred connection parameters"
FORMAT, CONFIGURATION = "characteristic presentation format", "client characteristic configuration"
DESCRIPTION, AGGREGATE = "characteristic user description", "characteristic aggregate format"
PNP, MODEL = "device information/pnp id", "device information/model number string"
RANGE = "environmental sensing/temperature/valid range"


def own(number: int, descriptor: str = "") -> str:
    return f"{OWN(1)}/{OWN(number)}" + (f"/{descriptor}" if descriptor else "")


# Requirements of services: the Bluetooth SIG's service definitions (XML, 2017).
SERVICES = [
    Case("services", "missing-service", "", without_generic_access),
    Case("services", "missing-characteristic", "heart rate/heart rate measurement", dropped, where="heart rate"),
    Case("services", "missing-property", "battery[0]/battery level", properties("notify")),
    Case("services", "excluded-property", "battery[0]/battery level", properties("read", "notify", "write")),
    Case("services", "missing-descriptor", "environmental sensing/temperature/290D", dropped,
         where="environmental sensing/temperature"),
    Case("services", "missing-descriptor", "environmental sensing/humidity/290B", dropped,
         where="environmental sensing/humidity"),
    Case("services", "missing-descriptor", "health thermometer/measurement interval/valid range", dropped,
         where="health thermometer/measurement interval"),
    Case("services", "missing-descriptor", "battery[1]/battery level/2904", dropped, where="battery[1]/battery level"),
    Case("services", "empty-service", "environmental sensing", replaced(characteristics=[])),
    Case("services", "duplicate-service", "",
         with_service("service: device information, characteristics: [{characteristic: serial number, properties: [read], value: B}]"),
         where="device information[1]"),
    Case("services", "duplicate-characteristic", "generic access",
         in_turn(*[with_characteristic(f"characteristic: '2A04', name: {name}, properties: [read], raw: '06 00 C8 00 00 00 F4 01'")
                   for name in ("first", "second")]),
         with_characteristic("characteristic: '2A04', properties: [read], raw: '06 00 C8 00 00 00 F4 01'"),
         where=f"generic access/{PARAMETERS}[1]"),
    # bit 2: several sensor locations (GATT Specification Supplement, CSC Feature)
    Case("services", "missing-characteristic", "cycling speed and cadence/csc feature", raw("04 00"),
         where="cycling speed and cadence"),
    Case("services", "missing-characteristic", "human interface device/protocol mode", dropped, where="human interface device"),
    Case("services", "missing-pnp-id", PNP, dropped, where="human interface device"),
]  # fmt: skip

# Bluetooth SIG assigned numbers: FE00 lies among the UUIDs of members.
IDENTIFIERS = [
    Case("identifiers", "uuid-not-assigned", "", with_service("service: 'FFE0'"), with_service("service: 'FE00'"),
         where="FFE0", severity="warning"),
    Case("identifiers", "uuid-not-assigned", "",
         with_service("service: 'FFF0', characteristics: [{characteristic: 'FFF1', as: uint8, properties: [read], value: 1}]"),
         with_service("service: 'FFF0', characteristics: [{characteristic: 'FE01', as: uint8, properties: [read], value: 1}]"),
         where="FFF0/FFF1", severity="warning"),
    Case("identifiers", "uuid-not-assigned", OWN(1),
         with_characteristic("characteristic: '2FFF', as: uint8, properties: [read], value: 1"),
         with_characteristic("characteristic: '2A6F', properties: [read], value: 1 %"),
         where=f"{OWN(1)}/2FFF", severity="warning"),
]  # fmt: skip

# Core specification Vol 3 Part G 3.3.1.1 and 3.3.3.
DECLARATIONS = [
    Case("declarations", "missing-aggregate-format", own(2, AGGREGATE), dropped, where=own(2)),
    Case("declarations", "wrong-aggregate-format", own(2, AGGREGATE), raw("0900 0100")),
    Case("declarations", "duplicate-descriptor", own(3), with_descriptor("descriptor: '2901', value: B")),
    Case("declarations", "idle-cccd", own(3), with_descriptor("descriptor: '2902', raw: '0000'"), severity="warning"),
    Case("declarations", "missing-cccd", own(4), replaced(cccd=False)),
    Case("declarations", "duplicate-descriptor", own(5), with_descriptor("descriptor: '2902', raw: '0000'")),
    Case("declarations", "cccd-not-reset", own(5, CONFIGURATION), raw("01 00"), severity="warning"),
    Case("declarations", "missing-extended-properties", own(6, "2900"), dropped, where=own(6)),
    Case("declarations", "idle-extended-properties", own(6), properties("read"), severity="warning"),
    Case("declarations", "missing-sccd", own(7, "2903"), dropped, where=own(7)),
    Case("declarations", "idle-sccd", own(7), properties("read"), severity="warning"),
]  # fmt: skip

# Core specification Vol 3 Part C 12.2
ACCESS = [
    Case("access", "must-be-readable", "generic access/appearance", replaced(encrypted=True)),
    Case("access", "read-refused", own(2), refused(0x02), refused(0x05), severity="warning"),
]


def pairing(**fields: Any) -> Change:
    return within("security", replaced(**fields))


def private(payload: str) -> Change:
    """A device with a private address, which advertises these octets of its maker (Core Vol 6 Part B 1.3.2.2)."""
    address = replaced(address=AddressText.from_source("4C:00:00:00:00:01"), address_type="resolvable")
    return in_turn(address, data(manufacturer=ManufacturerSpec(company=0xFFFF, data=Hex.from_source(payload))))


# Core specification Vol 3 Part H 2.3.4, 2.3.5, 3.5; Part F 3.2.5
PAIRING = [
    Case("pairing", "pairing-failed", "", pairing(bondable=False), where="pairing", severity="note"),
    Case("pairing", "legacy-pairing", "", pairing(pairing="legacy"), pairing(pairing="secure connections"),
         where="pairing", severity="warning"),
    Case("pairing", "short-key", "", pairing(key_size=15), where="pairing", severity="warning"),
    Case("pairing", "fixed-passkey", "", pairing(passkey=PasskeyText("042517")), where="pairing", severity="warning"),
    Case("pairing", "open-write", own(2), replaced(write_needs=None), severity="warning"),
    Case("pairing", "open-twin", "", with_service("service: 'FE00', characteristics: [{characteristic: "
         f"{OWN(3)}, name: twin, as: uint16, properties: [read], value: 1}}]"), where=f"FE00/{OWN(3)}", severity="warning"),
    Case("pairing", "tracked-by-advertising", "", private("42 2D 31 37 30 34"), private("42 2D 31 37"),
         where="advertising", severity="warning"),
]  # fmt: skip

VALUES = [
    # GATT Specification Supplement: lengths, ranges and reserved numbers
    Case("values", "wrong-length", "environmental sensing/temperature", raw("61"), raw("61 00")),
    Case("values", "reserved-value", "environmental sensing/temperature", raw("4C 95")),
    Case("values", "reserved-value", "environmental sensing/humidity", raw("11 27"), raw("10 27")),
    Case("values", "reserved-value", PNP, raw("03 6D 04 17 B0 01 00")),
    Case("values", "reserved-value", "blood pressure/blood pressure feature", raw("00 02"), raw("00 01")),
    Case("values", "reserved-value", own(2, CONFIGURATION), raw("04 00")),
    Case("values", "not-utf8", MODEL, raw("41 FF"), raw("41 42")),
    Case("values", "not-utf8", own(3, DESCRIPTION), raw("C3 28"), raw("43 28")),
    Case("values", "zero-in-text", MODEL, raw("41 42 00"), raw("41 42"), severity="note"),
    Case("values", "empty-text", MODEL, value(""), severity="note"),
    Case("values", "outside-valid-range", "environmental sensing/temperature", value("61 °C"), value("60 °C"),
         where=RANGE, severity="warning"),
    Case("values", "range-swapped", RANGE, raw("70 17 60 F0")),
    Case("values", "wrong-length", RANGE, raw("60 F0 70")),
    Case("values", "value-against-format", own(4), raw("01 02")),
    Case("values", "wrong-length", own(4, FORMAT), raw("04 00 00 27 01 00")),
    # Core specification Vol 3 Part C 12.1: 0 to 248 octets
    Case("values", "name-too-long", "generic access/device name", raw("41" * 249), raw("41" * 248)),
    # Bluetooth SIG assigned numbers: 0x0341 is a heart rate belt, category 0x3FF is free
    Case("values", "appearance-not-assigned", "generic access/appearance", raw("C0 FF"), raw("41 03"), severity="warning"),
    # Core specification Vol 6 Part B 4.5.2: 30 ms and latency 4 need more than 300 ms
    Case("values", "timeout-too-short", f"generic access/{PARAMETERS}", raw("18 00 18 00 04 00 1E 00")),
    Case("values", "intervals-swapped", f"generic access/{PARAMETERS}", raw("18 00 06 00 00 00 F4 01"), raw("18 00 18 00 00 00 F4 01")),
    Case("values", "reserved-value", f"generic access/{PARAMETERS}", raw("05 00 18 00 00 00 F4 01"), raw("06 00 18 00 00 00 F4 01")),
]  # fmt: skip

# Core specification Vol 3 Part G 3.3.3.5; formats, units and name spaces: Bluetooth SIG assigned numbers.
HUMIDITY_FORMAT = f"environmental sensing/humidity/{FORMAT}"
PRESENTATION = [
    Case("presentation", "presentation-reserved", HUMIDITY_FORMAT, raw("1D FE AD 27 01 00 00")),
    Case("presentation", "presentation-reserved", HUMIDITY_FORMAT, raw("06 FE AD 27 02 00 00")),
    Case("presentation", "presentation-reserved", HUMIDITY_FORMAT, raw("06 FE AD 28 01 00 00")),
    Case("presentation", "presentation-contradicts", HUMIDITY_FORMAT, raw("0E FE AD 27 01 00 00")),
    Case("presentation", "presentation-contradicts", HUMIDITY_FORMAT, raw("06 FF AD 27 01 00 00")),
    Case("presentation", "presentation-contradicts", HUMIDITY_FORMAT, raw("06 FE 2F 27 01 00 00")),
    Case("presentation", "presentation-exponent", own(2, FORMAT), raw("19 01 00 27 01 00 00")),
    # Battery Service 1.0, 3.1.2.1: name space and description are unique
    Case("presentation", "batteries-alike", f"battery[1]/battery level/{FORMAT}", raw("04 00 AD 27 01 01 00"),
         raw("04 00 AD 27 01 03 00")),
]  # fmt: skip

REPORTS = [Case("reports", "report-properties", "human interface device/report", properties("read"))]

BATTERY, HEART_RATE, INFORMATION = (ServiceUuid.from_source(name) for name in ("battery", "heart rate", "device information"))  # fmt: skip
ADVERTISING = [
    # Core Specification Supplement, Part A; Core specification Vol 3 Part C 9.2 and 11
    Case("advertising", "malformed-advertising", "", data(raw=Hex.from_source("09 FF FF FF 41")),
         data(raw=Hex.from_source("05 FF FF FF 41 42")), where="advertising"),
    Case("advertising", "malformed-advertising", "", data(flags=0x26), where="advertising"),
    Case("advertising", "repeated-field", "", data(raw=Hex.from_source("02 01 06")), data(raw=Hex.from_source("02 0A 04")),
         where="advertising"),
    Case("advertising", "flags-in-response", "", response(flags=0x06), response(short_name="unit"), where="scan response"),
    Case("advertising", "missing-flags", "", data(flags=None), where="advertising", severity="warning"),
    Case("advertising", "discoverable-twice", "", data(flags=0x07), data(flags=0x05), where="advertising"),
    Case("advertising", "flags-contradict", "", data(flags=0x16), data(flags=0x12), where="advertising"),
    Case("advertising", "name-differs", "", data(name="unit"), data(name=None, short_name="unit"), where="advertising"),
    Case("advertising", "name-differs", "", data(name=None, short_name="nit 1"), where="advertising"),
    Case("advertising", "appearance-differs", "", data(appearance=0x0341), data(appearance=0x0000), where="advertising"),
    Case("advertising", "service-not-there", "", data(services=[HEART_RATE]), data(services=[INFORMATION]),
         where="advertising", severity="warning"),
]  # fmt: skip

CASES = [*SERVICES, *IDENTIFIERS, *DECLARATIONS, *ACCESS, *PAIRING, *VALUES, *PRESENTATION, *REPORTS, *ADVERTISING]
