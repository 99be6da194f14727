"""Devices of different kinds, each as it should be."""

from __future__ import annotations

from tests.run.kit import device_text

HEART = device_text(
    """services:
  - service: device information
    characteristics:
      - {characteristic: serial number, properties: [read], value: A7K-0019B}
      - {characteristic: firmware revision, properties: [read], value: 1.0.9}
  - service: heart rate
    characteristics:
      - characteristic: heart rate measurement
        properties: [notify]
        value:
          heart_rate: {noise: {mean: 72 bpm, sd: 2 bpm}}
          contact: contact
        notify: {period: 1 s, jitter: 30 ms}
      - {characteristic: body sensor location, properties: [read], value: wrist}
      - {characteristic: heart rate control point, properties: [write], value: reset energy expended}
""",
    name="Pulse 17",
)

THERMOMETER = device_text(
    """services:
  - service: health thermometer
    characteristics:
      - characteristic: temperature measurement
        properties: [indicate]
        value: {temperature: {sequence: [36.6 °C, 36.7 °C, 36.6 °C, 36.8 °C]}, temperature_type: body}
        notify: {period: 2 s}
      - {characteristic: temperature type, properties: [read], value: body}
      - {characteristic: measurement interval, properties: [read, write], value: 2 s}
""",
    name="Thermo",
)

# an own number that says itself what it is: sint16, exponent -2, unit 0x272F (°C); an own text,
# which is: ready: #1, "ok" $HOME ${x} '$$'
PRESENTED = device_text(
    """services:
  - service: 5c2a0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - characteristic: 5c2a0002-77aa-4f0e-9d3b-0a1b2c3d4e5f
        as: sint16
        scale: 0.01
        unit: °C
        properties: [read, notify]
        value: {noise: {mean: -18 °C, sd: 0.2 °C}}
        notify: {period: 200 ms}
        descriptors:
          - {descriptor: user description, value: Brine inlet}
          - {descriptor: characteristic presentation format, raw: 0E FE 2F 27 01 00 00}
      - characteristic: 5c2a0003-77aa-4f0e-9d3b-0a1b2c3d4e5f
        as: utf8
        properties: [read]
        raw: 72 65 61 64 79 3A 20 23 31 2C 20 22 6F 6B 22 20 24 48 4F 4D 45 20 24 7B 78 7D 20 27 24 24 27
        descriptors:
          - {descriptor: characteristic presentation format, raw: 19 00 00 27 01 00 00}
""",
    name="Brine",
)

CLOCK = device_text(
    """services:
  - service: current time
    characteristics:
      - characteristic: current time
        properties: [read]
        raw: EA 07 0B 19 0C 00 00 03 00 00
      - characteristic: local time information
        properties: [read]
        value: {time_zone: 60 min, dst_offset: standard time}
  - service: 5c2b0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - characteristic: 2A08
        properties: [read]
        value: {sequence: ['2026-11-25T12:00:00', '2026-11-25T12:00:01', '2026-11-25T12:00:02']}
      - {characteristic: 5c2b0002-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: uint16, properties: [read], value: {counter: {start: 65533, step: 1, modulo: 65536}}}
      - {characteristic: 5c2b0003-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: hex, properties: [read], value: {sequence: ['01 02', '03 04 05']}}
""",
    name="Clock",
)

TWINS = device_text(
    """services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 80 %}
      - {characteristic: battery level, name: second, properties: [read, notify], value: 60 %, notify: {period: 500 ms}}
  - service: battery
    characteristics:
      - {characteristic: battery level, name: third, properties: [read], value: 40 %}
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 4 °C}
      - {characteristic: temperature, name: low, properties: [read], value: 9 °C}
  - service: 5c2c0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - {characteristic: temperature, name: room, properties: [read], value: 21 °C}
""",
    name="Twins",
)


def shelf(number: int, temperature: float, level: int = 90) -> str:
    """One of several units that differ a little."""
    return device_text(
        f"""services:
  - service: device information
    characteristics:
      - {{characteristic: serial number, properties: [read], value: SH-{number:05}}}
      - {{characteristic: model number, properties: [read], value: Shelf 2}}
  - service: battery
    characteristics:
      - {{characteristic: battery level, properties: [read], value: {level} %}}
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: {{noise: {{mean: {temperature} °C, sd: 0.05 °C}}}}
        notify: {{period: 500 ms, jitter: 5 ms}}
""",
        name=f"Shelf-{number:03}",
        address=f"C4:00:00:00:01:{number:02X}",
    )


SHELVES = tuple(
    shelf(number, temperature, level)
    for number, (temperature, level) in enumerate(
        [(4.02, 91), (4.11, 93), (3.95, 90), (4.05, 92), (4.08, 94), (3.98, 90)], 1
    )
)
