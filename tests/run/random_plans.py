"""Plans made at random of steps that a sound device passes, each with a limit on what the device has to do."""

from __future__ import annotations

import random

from tests.run.kit import HEAD, device_text

A, B, C, D, E, F, G = (f"6b1d000{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in range(2, 9))
DEVICE = device_text(f"""services:
  - service: battery service
    characteristics: [{{characteristic: battery level, properties: [read, notify], value: 80 %, notify: {{period: 200 ms}}}}]
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: {A}, as: sint16, scale: 0.01, unit: °C, properties: [read, notify], value: 21 °C, notify: {{period: 100 ms}}}}
      - {{characteristic: {B}, as: uint16, unit: mV, properties: [read, write], value: 3000 mV}}
      - {{characteristic: {C}, as: utf8, properties: [read, write], value: blue}}
      - {{characteristic: {D}, as: uint8, properties: [notify], value: {{counter: {{}}}}, notify: {{period: 50 ms}}}}
      - {{characteristic: {E}, as: hex, properties: [write, notify], value: '00', name: control, on_write: {{delay: 50 ms, notify: {{control: '00'}}}}}}
      - {{characteristic: {F}, as: uint8, properties: [read], value: 7, on_read: {{att_error: 0x80}}}}
      - {{characteristic: {G}, as: uint8, properties: [write], value: 0, on_write: {{reboot: 1500 ms}}}}
""")
NAMES = f"""  attributes:
    ambient: {{uuid: {A}, as: sint16, scale: 0.01, unit: °C}}
    supply: {{uuid: {B}, as: uint16, unit: mV}}
    colour: {{uuid: {C}, as: utf8}}
    log: {{uuid: {D}, as: uint8}}
    control: {{uuid: {E}, as: hex}}
    key: {{uuid: {F}, as: uint8}}
    restart: {{uuid: {G}, as: uint8}}
"""
STEPS = [
    "read: battery level\n    expect: {value: {min: 70 %, max: 90 %}}",
    "read: battery level\n    expect: {length: {equals: 1 bytes}, elapsed: {max: 4 s}}",
    "read: ambient\n    expect: {value: {nominal: 21 °C, tolerance: 1 °C}, raw: {equals: 34 08}}",
    "read: colour\n    expect: {value: {one_of: [blue, red]}}",
    "read: key\n    expect: {att_error: {equals: application error 0x80}}",
    "write: supply\n    value: 2900 mV\n    read_back: true\n    expect: {value: {equals: 2900 mV}}",
    "write: colour\n    value: red\n    expect: {att_error: {equals: none}, elapsed: {max: 4 s}}",
    "notify: ambient\n    for: 2 s\n    expect: {count: {min: 5}, value: {min: 20 °C, max: 22 °C}}",
    "notify: ambient\n    count: 5\n    within: 4 s\n    expect: {value: {min: 20 °C}, gap_max: {max: 2 s}}",
    "notify: log\n    for: 2 s\n    counter: value\n    expect: {lost: {max: 0}, rate: {min: 2 Hz}, value: {min: 0}}",
    "notify: battery level\n    for: 2 s\n    expect: {first_after: {max: 2 s}, length: {equals: 1 bytes}}",
    "exchange: control\n    raw: '00'\n    expect: {response_time: {max: 3 s}, value: {equals: '00'}}",
    "read: ambient\n    until: {value: {min: 20 °C}}\n    within: 4 s",
    "notify: log\n    until: {value: {min: 5}}\n    within: 8 s",
    "exchange: control\n    raw: '00'\n    answers: {last: {equals: '00'}}\n    expect: {count: {equals: 1}}",
    "listen: {log: {counter: value}, ambient: {}}\n    steps: [{wait: 2 s}]\n    expect: {log.lost: {max: 0}, ambient.count: {min: 5}}",
    "wait: 500 ms\n    expect: {elapsed: {max: 2 s}}",
    "discover:\n    expect: {table: {battery service: {battery level: [read, notify]}}}",
    "reboot:\n    within: 15 s\n    steps: [{write: restart, value: 1}]\n    expect: {advertises_after: {min: 300 ms, max: 8 s}}",
    "scan:\n    for: 1 s\n    expect: {count: {min: 1}, rssi: {min: -90 dBm}}",
]
AGAIN = [
    "disconnect:\n    expect: {advertises_after: {max: 5 s}}",
    "connect:\n    attempts: 3\n    expect: {payload: {min: 20 bytes}}",
]


def plan_of(seed: int) -> str:
    chance = random.Random(seed)
    steps = [
        "scan:\n    expect: {name: {equals: unit 1}}",
        "connect:\n    attempts: 3\n    expect: {elapsed: {max: 9 s}}",
    ]
    connected = [step for step in STEPS if not step.startswith("scan")]
    steps += [chance.choice(connected) for _ in range(chance.randint(3, 5))]
    if chance.random() < 0.5:
        steps += AGAIN + [chance.choice(connected) for _ in range(chance.randint(1, 3))]
    if chance.random() < 0.5:
        steps += [AGAIN[0], STEPS[-1]]
    return HEAD + NAMES + "steps:\n" + "".join(f"  - {step}\n    name: step {n}\n" for n, step in enumerate(steps, 1))
