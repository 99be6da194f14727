"""Sound devices, one for the findings of each family: what the rules of the family look at, and as little else as may be."""

from __future__ import annotations

from functools import cache
from typing import Any

from benchrig.radio.virtual import devices_of
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.problem import Problems
from benchrig.source.shape import Reader
from benchrig.source.yaml import Node, read_text

OWN = "6b1d{:04x}-9a53-4c86-8a3e-2f0f6c1d7e40".format
HEAD = (
    "device: unit 1\naddress: 'C4:00:00:00:00:01'\nadvertising: {interval: 20 ms, data: {flags: 0x06, name: unit 1}}\n"
)
NAMELESS = HEAD.replace(", name: unit 1", "")

ACCESS = """
  - service: generic access
    characteristics:
      - {characteristic: device name, properties: [read], value: unit 1}
      - {characteristic: appearance, properties: [read], raw: '00 00'}
"""
INFORMATION = """
  - service: device information
    characteristics:
      - {characteristic: model number, properties: [read], value: A}
      - {characteristic: pnp id, properties: [read], raw: '02 6D 04 17 B0 01 00'}
"""
HID = """
  - service: human interface device
    characteristics:
      - {characteristic: hid information, properties: [read], raw: '11 01 00 02'}
      - {characteristic: report map, properties: [read], raw: '05 01'}
      - {characteristic: hid control point, properties: [write without response]}
"""
BATTERIES = """
  - service: battery
    characteristics:
      - characteristic: battery level
        properties: [read, notify]
        value: 97 %
        descriptors: [{descriptor: '2904', raw: '04 00 AD 27 01 01 00'}]
  - service: battery
    characteristics:
      - characteristic: battery level
        name: the second level
        properties: [read, notify]
        value: 97 %
        descriptors: [{descriptor: '2904', raw: '04 00 AD 27 01 02 00'}]
"""


def own_service(*characteristics: str) -> str:
    """A service of the maker's own, with own characteristics from 2 on."""
    listed = "".join(f"      - {{characteristic: {OWN(2 + at)}, {keys}}}\n" for at, keys in enumerate(characteristics))
    return f"  - service: {OWN(1)}\n    characteristics:\n{listed}"


TEXTS = {
    "services": HEAD + "services:" + ACCESS + INFORMATION + BATTERIES + HID + """
      - {characteristic: boot mouse input report, properties: [read, notify], raw: '00 00 00'}
      - {characteristic: protocol mode, properties: [read, write without response], raw: '01'}
  - service: heart rate
    characteristics:
      - {characteristic: heart rate measurement, properties: [notify], value: {heart_rate: 72 bpm}}
      - {characteristic: body sensor location, properties: [read], value: chest}
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: 20 °C
        descriptors: [{descriptor: '290D', raw: '00'}]
      - characteristic: humidity
        properties: [read, notify]
        value: 40 %
        descriptors: [{descriptor: '290D', raw: '00'}, {descriptor: '290D', raw: '00'}, {descriptor: '290B', raw: '00'}]
  - service: health thermometer
    characteristics:
      - {characteristic: temperature measurement, properties: [indicate], raw: '00 6C 01 00 FF'}
      - characteristic: measurement interval
        properties: [read, write]
        value: 60 s
        descriptors: [{descriptor: valid range, raw: '01 00 FF 00'}]
  - service: cycling speed and cadence
    characteristics:
      - {characteristic: csc measurement, properties: [notify], raw: '00'}
      - {characteristic: csc feature, properties: [read], raw: '00 00'}
      - {characteristic: sc control point, properties: [write, indicate], raw: '00'}
""",
    "identifiers": HEAD + "services:\n" + own_service("as: uint8, properties: [read], value: 1"),
    # generic access has the handles 1 to 5, so the two presentation formats have 9 and 10
    "declarations": HEAD + "services:\n" + own_service(
        "as: uint8, properties: [read], value: 1, descriptors: [{descriptor: '2904', raw: '04 00 00 27 01 01 00'}, "
        "{descriptor: '2904', raw: '04 00 00 27 01 02 00'}, {descriptor: '2905', raw: '0900 0A00'}]",
        "as: uint8, properties: [read], value: 1, descriptors: [{descriptor: '2901', value: A}]",
        "as: uint8, properties: [read, notify], value: 1",
        "as: uint8, properties: [notify], value: 1, cccd: false, descriptors: [{descriptor: '2902', raw: '0000'}]",
        "as: uint8, properties: [read, extended properties], value: 1, descriptors: [{descriptor: '2900', raw: '0100'}]",
        "as: uint8, properties: [read, broadcast], value: 1, descriptors: [{descriptor: '2903', raw: '0000'}]",
    ),
    "pairing": HEAD + """
security: {capability: display}
on_display: [{print: 'code {number}'}]
services:
  - service: device information
    characteristics:
      - {characteristic: serial number, properties: [read], value: B-1704}
""" + own_service(
        "as: utf8, properties: [read, write], value: ok, read_needs: authenticated, write_needs: authenticated",
        "as: uint16, properties: [read], value: 1, read_needs: encrypted",
    ),
    "access": HEAD + "services:" + ACCESS + own_service("as: uint8, properties: [read], value: 1"),
    "values": NAMELESS + "services:" + ACCESS + """
      - characteristic: peripheral preferred connection parameters
        properties: [read]
        raw: '18 00 18 00 04 00 1F 00'
""" + INFORMATION + """
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read]
        value: 20 °C
        descriptors: [{descriptor: valid range, raw: '60 F0 70 17'}]
      - {characteristic: humidity, properties: [read], value: 40 %}
  - service: blood pressure
    characteristics:
      - {characteristic: blood pressure measurement, properties: [indicate], raw: '00 78 00 50 00 5D 00'}
      - {characteristic: blood pressure feature, properties: [read], raw: '00 00'}
""" + own_service(
        "as: uint8, properties: [read, notify], value: 1, cccd: false, descriptors: [{descriptor: '2902', raw: '00 00'}]",
        "as: uint8, properties: [read], value: 1, descriptors: [{descriptor: user description, value: A}]",
        "as: hex, properties: [read], raw: '01', descriptors: [{descriptor: '2904', raw: '04 00 00 27 01 00 00'}]",
    ),
    "presentation": HEAD + "services:" + BATTERIES + """
  - service: environmental sensing
    characteristics:
      - characteristic: humidity
        properties: [read]
        value: 40 %
        descriptors: [{descriptor: '2904', raw: '06 FE AD 27 01 00 00'}]
""" + own_service("as: utf8, properties: [read], value: A, descriptors: [{descriptor: '2904', raw: '19 00 00 27 01 00 00'}]"),
    "reports": HEAD + "services:" + INFORMATION + HID + """
      - characteristic: report
        properties: [read, notify]
        raw: '00'
        descriptors: [{descriptor: report reference, raw: '01 01'}]
""",
    "database hash": HEAD + """
services:
  - service: generic attribute
    characteristics:
      - {characteristic: service changed, properties: [indicate], raw: '00 00 00 00'}
      - {characteristic: client supported features, properties: [read, write], raw: '00'}
      - {characteristic: database hash, properties: [read], raw: '00000000000000000000000000000000'}
""" + own_service(
        "as: uint8, value: 1, properties: [read, extended properties], descriptors: [{descriptor: '2900', raw: '0100'}, "
        "{descriptor: '2901', value: A}, {descriptor: valid range, raw: '00 FF'}]"
    ),
    "advertising": HEAD + "services:" + ACCESS + INFORMATION,
}  # fmt: skip


@cache
def carrier(family: str) -> DeviceSpec:
    return device(TEXTS[family])


def device(text: str) -> DeviceSpec:
    problems = Problems()
    [made] = devices_of(_node(text, problems), problems)
    problems.raise_if_any()
    assert isinstance(made, DeviceSpec)
    return made


def part(kind: Any, text: str) -> Any:
    """A service, characteristic or descriptor as it stands in a device file."""
    problems = Problems()
    made = Reader(problems).read(_node(text, problems), kind)
    problems.raise_if_any()
    return made


def _node(text: str, problems: Problems) -> Node:
    node = read_text(text, "a device", problems)
    problems.raise_if_any()
    assert node is not None
    return node
