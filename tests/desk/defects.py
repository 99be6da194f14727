"""Simulated devices with one defect each, and their twins without it.

A template holds both devices: «defect|sound».
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

OWN = "6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40"
OWN_VALUE = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
ADVERTISING = "{flags: 0x06, name: unit 1}"


@dataclass(frozen=True)
class Case:
    rule: str
    where: str
    services: str = "[]"
    advertising: str = f"data: {ADVERTISING}"
    more: str = ""
    severity: Literal["error", "warning", "note"] = "error"

    def device(self, side: int) -> str:
        """0 is the device with the defect, 1 its twin."""
        text = (
            f"device: unit 1\naddress: 'C4:00:00:00:00:01'\nadvertising: {{interval: 20 ms, {self.advertising}}}\n"
            f"{self.more}\nservices: {self.services}\n"
        )
        return re.sub("«([^|]*)\\|([^»]*)»", lambda match: match[1 + side], text)


def service(name: str, *characteristics: str) -> str:
    return f"[{{service: {name}, characteristics: [{', '.join(characteristics)}]}}]"


def battery(keys: str) -> str:
    return service("battery", f"{{characteristic: battery level, {keys}}}")


def sensing(keys: str) -> str:
    return service("environmental sensing", f"{{characteristic: temperature, {keys}}}")


def access(*more: str, name: str = "value: unit 1") -> str:
    """Generic access with further characteristics."""
    fixed = (
        f"{{characteristic: device name, properties: [read], {name}}}",
        "{characteristic: appearance, properties: [read], raw: '00 00'}",
    )
    return service("generic access", *fixed, *more)


def own(keys: str) -> str:
    return service(OWN, f"{{characteristic: {OWN_VALUE}, {keys}}}")


def presented(data: str) -> str:
    """A battery level with a presentation format."""
    return battery(f"properties: [read], value: 97 %, descriptors: [{{descriptor: '2904', raw: '{data}'}}]")


def two_batteries(second: str) -> str:
    first = "{descriptor: '2904', raw: '04 00 AD 27 01 01 00'}"
    level = "{{characteristic: battery level, name: level {}, properties: [read], value: 97 %, descriptors: [{}]}}"
    listed = ", ".join(
        f"{{service: battery, characteristics: [{level.format(number, descriptor)}]}}"
        for number, descriptor in ((1, first), (2, second))
    )
    return f"[{listed}]"


PNP = "{characteristic: pnp id, properties: [read], raw: '02 6D 04 17 B0 01 00'}"
INFORMATION = "{{service: device information, characteristics: [{}]}}"


def hid(report: str = "", more: str = "") -> str:
    fixed = [
        "{characteristic: hid information, properties: [read], raw: '11 01 00 02'}",
        "{characteristic: report map, properties: [read], raw: '05 01'}",
        "{characteristic: hid control point, properties: [write without response]}",
    ]
    device = service("human interface device", *fixed, *filter(None, [report, more]))
    return f"[{INFORMATION.format(PNP)}, {device[1:]}"


TRIGGER = "{descriptor: '290D', raw: '00'}"

# Requirements of services: the Bluetooth SIG's service definitions (XML, 2017).
SERVICES = [
    Case("missing-service", "", more="«generic_access: false|»", advertising="data: {flags: 0x06}"),
    Case("missing-characteristic", "heart rate", service(
        "heart rate", "{characteristic: body sensor location, properties: [read], value: chest}",
        "{characteristic: «heart rate control point, properties: [write]|heart rate measurement, properties: [notify], "
        "value: {heart_rate: 72 bpm}»}")),
    Case("missing-property", "battery/battery level", battery("properties: [«notify|read, notify»], value: 97 %")),
    Case("excluded-property", "battery/battery level", battery("properties: [read«, write|»], value: 97 %")),
    Case("missing-descriptor", "environmental sensing/temperature", sensing(
        "properties: [read, notify], value: 20 °C, descriptors: [«|{descriptor: '290D', raw: '00'}»]")),
    Case("missing-descriptor", "environmental sensing/temperature", sensing(
        f"properties: [read, notify], value: 20 °C, descriptors: [{TRIGGER}, {TRIGGER}«|, "
        "{descriptor: '290B', raw: '00'}»]")),
    Case("missing-descriptor", "health thermometer/measurement interval", service(
        "health thermometer", "{characteristic: temperature measurement, properties: [indicate], raw: '00 6C 01 00 FF'}",
        "{characteristic: measurement interval, properties: [read, write], value: 60 s, descriptors: ["
        "«|{descriptor: valid range, raw: '01 00 FF 00'}»]}")),
    Case("empty-service", "environmental sensing", service(
        "environmental sensing", "«|{characteristic: humidity, properties: [read], value: 40 %}»")),
    Case("duplicate-service", "device information[1]",
         "[{service: device information, characteristics: [{characteristic: model number, properties: [read], value: A}]},"
         " {service: «device information|battery», characteristics: [{characteristic: «serial number|battery level», "
         "properties: [read], raw: '31'}]}]"),
    Case("duplicate-characteristic", "generic access/peripheral preferred connection parameters[1]", access(
        "{characteristic: '2A04', name: first, properties: [read], raw: '06 00 C8 00 00 00 F4 01'}",
        "{characteristic: «2A04|2AA6», properties: [read], raw: «'06 00 C8 00 00 00 F4 01'|'01'»}")),
    Case("missing-characteristic", "cycling speed and cadence", service(
        "cycling speed and cadence", "{characteristic: csc measurement, properties: [notify], raw: '00'}",
        # bit 2: several sensor locations (GATT Specification Supplement, CSC Feature)
        "{characteristic: csc feature, properties: [read], raw: '«04|00» 00'}",
        "{characteristic: sc control point, properties: [write, indicate], raw: '00'}")),
    Case("missing-characteristic", "human interface device", hid(
        more="{characteristic: boot mouse input report, properties: [read, notify], raw: '00 00 00'}"
        "«|, {characteristic: protocol mode, properties: [read, write without response], raw: '01'}»")),
    Case("missing-pnp-id", "human interface device", hid().replace(PNP, f"«{{characteristic: model number, properties: [read], value: A}}|{PNP}»")),
    Case("report-properties", "human interface device/report", hid(
        "{characteristic: report, properties: [read«|, notify»], raw: '00', descriptors: ["
        "{descriptor: report reference, raw: '01 01'}]}")),
    Case("missing-descriptor", "battery[1]/battery level", two_batteries(
        "«|{descriptor: '2904', raw: '04 00 AD 27 01 02 00'}»")),
]  # fmt: skip

# Core specification Vol 3 Part G 3.3.1.1 and 3.3.3.
DECLARATIONS = [
    Case("missing-cccd", "battery/battery level", battery("properties: [read, notify], value: 97 %, cccd: «false|true»")),
    Case("idle-cccd", "battery/battery level", battery(
        "properties: [read], value: 97 %, descriptors: [«{descriptor: '2902', raw: '0000'}|»]"), severity="warning"),
    Case("missing-extended-properties", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read, extended properties], as: uint8, value: 1, descriptors: [«|{descriptor: '2900', raw: '0100'}»]")),
    Case("idle-extended-properties", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read«|, extended properties»], as: uint8, value: 1, descriptors: [{descriptor: '2900', raw: '0100'}]"),
        severity="warning"),
    Case("duplicate-descriptor", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read], as: uint8, value: 1, descriptors: [{descriptor: '2901', value: A}«, {descriptor: '2901', value: B}|»]")),
    Case("duplicate-descriptor", f"{OWN}/{OWN_VALUE}", own(
        "properties: [notify], as: uint8, value: 1, cccd: false, descriptors: [{descriptor: '2902', raw: '0000'}"
        "«, {descriptor: '2902', raw: '0000'}|»]")),
    Case("missing-aggregate-format", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read], as: uint8, value: 1, descriptors: [{descriptor: '2904', raw: '04 00 00 27 01 01 00'}, "
        "{descriptor: '2904', raw: '04 00 00 27 01 02 00'}«|, {descriptor: '2905', raw: '0900 0A00'}»]")),
    Case("missing-sccd", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read, broadcast], as: uint8, value: 1, descriptors: [«|{descriptor: '2903', raw: '0000'}»]")),
    Case("wrong-aggregate-format", f"{OWN}/{OWN_VALUE}/characteristic aggregate format", own(
        "properties: [read], as: uint8, value: 1, descriptors: [{descriptor: '2904', raw: '04 00 00 27 01 01 00'}, "
        "{descriptor: '2904', raw: '04 00 00 27 01 02 00'}, {descriptor: '2905', raw: '0900 «01|0A»00'}]")),
    Case("cccd-not-reset", "battery/battery level/client characteristic configuration", battery(
        "properties: [read, notify], value: 97 %, cccd: false, descriptors: [{descriptor: '2902', raw: '0«1|0» 00'}]"),
        severity="warning"),
    # Bluetooth SIG assigned numbers: FE00 lies among the UUIDs of members
    Case("uuid-not-assigned", "FFE0", service("'«FFE0|FE00»'"), severity="warning"),
    Case("uuid-not-assigned", "FFF0/FFF1", service("'FFF0'", "{characteristic: '«FFF1|FE01»', as: uint8, properties: [read], value: 1}"),
        severity="warning"),
    Case("uuid-not-assigned", f"{OWN}/2FFF", service(OWN, "{characteristic: '«2FFF|2A19»', as: uint8, properties: [read], value: 1}"),
        severity="warning"),
    # Core specification Vol 3 Part C 12.2
    Case("must-be-readable", "generic access/appearance", service(
        "generic access", "{characteristic: device name, properties: [read], value: unit 1}",
        "{characteristic: appearance, properties: [read], raw: '00 00', encrypted: «true|false»}")),
    Case("read-refused", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read], as: uint8, value: 1, on_read: {att_error: «read not permitted|insufficient authentication»}"),
        severity="warning"),
]  # fmt: skip

VALUES = [
    # GATT Specification Supplement: lengths, ranges and reserved numbers
    Case("wrong-length", "battery/battery level", battery("properties: [read], raw: '61«61|»'")),
    Case("reserved-value", "battery/battery level", battery("properties: [read], raw: '«65|64»'")),
    Case("reserved-value", "environmental sensing/temperature", sensing("properties: [read], raw: '«4C|4D» 95'")),
    Case("reserved-value", "device information/pnp id", service(
        "device information", "{characteristic: pnp id, properties: [read], raw: '0«3|2» 6D 04 17 B0 01 00'}")),
    Case("reserved-value", "blood pressure/blood pressure feature", service(
        "blood pressure", "{characteristic: blood pressure measurement, properties: [indicate], raw: '00 78 00 50 00 5D 00'}",
        "{characteristic: blood pressure feature, properties: [read], raw: '00 0«2|1»'}")),
    Case("reserved-value", "battery/battery level/client characteristic configuration", battery(
        "properties: [read, notify], value: 97 %, cccd: false, descriptors: [{descriptor: '2902', raw: '0«4|0» 00'}]")),
    Case("not-utf8", "device information/model number string", service(
        "device information", "{characteristic: model number, properties: [read], raw: '41 «FF|42»'}")),
    Case("not-utf8", "battery/battery level/characteristic user description", battery(
        "properties: [read], value: 97 %, descriptors: [{descriptor: user description, raw: '«C3 28|43 28»'}]")),
    Case("zero-in-text", "device information/model number string", service(
        "device information", "{characteristic: model number, properties: [read], raw: '41 42«00|»'}"), severity="note"),
    Case("empty-text", "device information/model number string", service(
        "device information", "{characteristic: model number, properties: [read], value: '«|A»'}"), severity="note"),
    Case("outside-valid-range", "environmental sensing/temperature/valid range", sensing(
        "properties: [read], value: «61|60» °C, descriptors: [{descriptor: valid range, raw: '60 F0 70 17'}]"),
        severity="warning"),
    Case("range-swapped", "environmental sensing/temperature/valid range", sensing(
        "properties: [read], value: 20 °C, descriptors: [{descriptor: valid range, raw: '«70 17 60 F0|60 F0 70 17»'}]")),
    Case("wrong-length", "environmental sensing/temperature/valid range", sensing(
        "properties: [read], value: 20 °C, descriptors: [{descriptor: valid range, raw: '60 F0 70«| 17»'}]")),
    # Core specification Vol 3 Part C 12.1: 0 to 248 octets
    Case("name-too-long", "generic access/device name", access(name=f"raw: '{'41' * 248}«41|»'"),
         advertising="data: {flags: 0x06}"),
    # Bluetooth SIG assigned numbers: 0x0341 is a heart rate belt, category 0x3FF is free
    Case("appearance-not-assigned", "generic access/appearance", service(
        "generic access", "{characteristic: device name, properties: [read], value: unit 1}",
        "{characteristic: appearance, properties: [read], raw: '«C0 FF|41 03»'}"), severity="warning"),
    # Core specification Vol 6 Part B 4.5.2: 30 ms and latency 4 need more than 300 ms
    Case("timeout-too-short", "generic access/peripheral preferred connection parameters", access(
        "{characteristic: peripheral preferred connection parameters, properties: [read], "
        "raw: '18 00 18 00 04 00 «1E|1F» 00'}")),
    Case("intervals-swapped", "generic access/peripheral preferred connection parameters", access(
        "{characteristic: peripheral preferred connection parameters, properties: [read], "
        "raw: '18 00 «06|18» 00 00 00 F4 01'}")),
    Case("reserved-value", "generic access/peripheral preferred connection parameters", access(
        "{characteristic: peripheral preferred connection parameters, properties: [read], "
        "raw: '0«5|6» 00 18 00 00 00 F4 01'}")),
]  # fmt: skip

# Core specification Vol 3 Part G 3.3.3.5; formats, units and name spaces: Bluetooth SIG assigned numbers.
BATTERY_FORMAT = "battery/battery level/characteristic presentation format"
PRESENTATION = [
    Case("presentation-reserved", BATTERY_FORMAT, presented("«1D|04» 00 AD 27 01 00 00")),
    Case("presentation-reserved", BATTERY_FORMAT, presented("04 00 AD 27 0«2|1» 00 00")),
    Case("presentation-reserved", BATTERY_FORMAT, presented("04 00 AD 2«8|7» 01 00 00")),
    Case("presentation-contradicts", BATTERY_FORMAT, presented("«0C|04» 00 AD 27 01 00 00")),
    Case("presentation-contradicts", BATTERY_FORMAT, presented("04 «FF|00» AD 27 01 00 00")),
    Case("presentation-contradicts", BATTERY_FORMAT, presented("04 00 «2F|AD» 27 01 00 00")),
    Case("wrong-length", BATTERY_FORMAT, presented("04 00 AD 27 01 00«| 00»")),
    Case("presentation-exponent", f"{OWN}/{OWN_VALUE}/characteristic presentation format", own(
        "properties: [read], as: utf8, value: A, descriptors: [{descriptor: '2904', raw: '19 0«1|0» 00 27 01 00 00'}]")),
    Case("value-against-format", f"{OWN}/{OWN_VALUE}", own(
        "properties: [read], as: hex, value: '01«02|»', descriptors: [{descriptor: '2904', raw: '04 00 00 27 01 00 00'}]")),
    # Battery Service 1.0, 3.1.2.1: name space and description are unique
    Case("batteries-alike", "battery[1]/battery level/characteristic presentation format", two_batteries(
        "{descriptor: '2904', raw: '04 00 AD 27 01 0«1|2» 00'}")),
]  # fmt: skip

ON_AIR = [
    # Core Specification Supplement, Part A; Core specification Vol 3 Part C 9.2 and 11
    Case("malformed-advertising", "advertising", advertising="data: {flags: 0x06, name: unit 1, raw: '«09 FF FF FF 41|05 FF FF FF 41 42»'}"),
    Case("malformed-advertising", "advertising", advertising="data: {flags: 0x«26|06», name: unit 1}"),
    Case("repeated-field", "advertising", advertising="data: {flags: 0x06, name: unit 1, raw: '«02 01 06|02 0A 04»'}"),
    Case("flags-in-response", "scan response", advertising="data: {flags: 0x06}, scan_response: {name: unit 1«, flags: 0x06|»}"),
    Case("missing-flags", "advertising", advertising="data: {«|flags: 0x06, »name: unit 1}", severity="warning"),
    Case("discoverable-twice", "advertising", advertising="data: {flags: 0x0«7|5», name: unit 1}"),
    Case("flags-contradict", "advertising", advertising="data: {flags: 0x«16|12», name: unit 1}"),
    Case("name-differs", "advertising", services=access(), advertising="data: {flags: 0x06, «name|short_name»: unit}"),
    Case("name-differs", "advertising", advertising="data: {flags: 0x06, short_name: «nit 1|unit»}"),
    Case("appearance-differs", "advertising", services=access(), advertising="data: {flags: 0x06, name: unit 1, appearance: 0x«0341|0000»}"),
    Case("service-not-there", "advertising", advertising="data: {flags: 0x06, name: unit 1, services: [«heart rate|battery»]}",
         services=battery("properties: [read], value: 97 %"), severity="warning"),
]  # fmt: skip

CASES = [*SERVICES, *DECLARATIONS, *VALUES, *PRESENTATION, *ON_AIR]
