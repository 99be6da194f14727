"""A unit that has something for each method of a link."""

from __future__ import annotations

from tests.run.kit import device_text

OWN = "6d1e{:04x}-52a7-4c0b-8f3e-1b90c2d3e4f5"
COUNTED, SWITCH, LOCK = OWN.format(2), OWN.format(3), OWN.format(4)
SERVICES = f"""services:
  - service: battery service
    characteristics:
      - {{characteristic: battery level, properties: [read, write], value: 97 %}}
  - service: {OWN.format(1)}
    characteristics:
      - {{characteristic: {COUNTED}, as: uint8, properties: [notify], value: {{counter: {{}}}}, notify: {{period: 50 ms}}}}
      - {{characteristic: {SWITCH}, as: uint8, properties: [write], value: 0, on_write: {{reboot: 1 s}}}}
      - {{characteristic: {LOCK}, as: utf8, properties: [read, write], value: open}}
"""
NAMES = f"""attributes:
  ticks: {{uuid: {COUNTED}, as: uint8}}
  restart: {{uuid: {SWITCH}, as: uint8}}
  lock: {{uuid: {LOCK}, as: utf8}}
"""
UNIT = device_text(SERVICES)
OTHER = device_text(SERVICES, name="unit 2", address="C4:00:00:00:00:02")
SILENT = device_text(SERVICES.replace("notify: {period: 50 ms}", "notify: {period: 1 h}"))
RARE = device_text(SERVICES.replace("notify: {period: 50 ms}", "notify: {period: 3 s}"))
# what it sends has a byte too many
LONG = device_text(SERVICES.replace(f"{COUNTED}, as: uint8", f"{COUNTED}, as: uint16"))
LOSES = device_text(SERVICES, more="faults: {disconnect_after: 1 s}")
