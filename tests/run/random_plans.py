"""Plans made at random of steps that a sound device passes, each with a limit on what the device has to do."""

from __future__ import annotations

import random

from tests.run.kit import HEAD, device_text

A, B, C, D, E, F, G, H = (f"6b1d000{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in range(2, 10))
DEVICE = device_text(f"""console: [{{matches: status, then: [{{delay: 300 ms, print: 'status: ok, supply 3012 mV'}}]}}]
on_start: [{{print: boot}}]
services:
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
      - {{characteristic: {H}, as: uint8, properties: [write], value: 0, on_write: {{delete_bonds: true}}}}
""")
NAMES = f"""  attributes:
    ambient: {{uuid: {A}, as: sint16, scale: 0.01, unit: °C}}
    supply: {{uuid: {B}, as: uint16, unit: mV}}
    colour: {{uuid: {C}, as: utf8}}
    log: {{uuid: {D}, as: uint8}}
    control: {{uuid: {E}, as: hex}}
    key: {{uuid: {F}, as: uint8}}
    restart: {{uuid: {G}, as: uint8}}
    forget: {{uuid: {H}, as: uint8}}
"""
# The same as things with steps in them: what is asked stands at the step around, as a limit on STEP.READING or on how many pass.
# Each '@' is the number of the step.
COMPOSITES = [
    "repeat: 3\n    steps: [{read: battery level, name: level @}]\n    expect: {level @.value: {min: 70 %}, failed: {max: 1}}",
    "repeat: {least@: [1 %, 2 %, 5 %]}\n    steps: [{read: battery level, name: level @, expect: {value: {min: '${least@}'}}}]",
    "repeat: 4\n    every: 500 ms\n    stop_when: {rounds: {min: 3}}\n    steps: [{write: supply, value: 2900 mV, name: set @}]\n"
    "    expect: {set @.elapsed: {max: 5 s}, set @.elapsed.p95: {max: 5 s}, passed: {min: 3}}",
    "repeat: 2\n    steps: [{group: in @, steps: [{read: colour, name: colour @}, {wait: 50 ms, name: pause @}], expect: {passed: {min: 2}}}]\n"
    "    expect: {colour @.value: {one_of: [blue, red]}, in @.elapsed: {max: 8 s}}",
    "repeat: 6\n    steps: [{read: battery level, name: level @}]\n"
    "    expect: {failed_share: {max: 50 %, confidence: 95 %}, level @.value.p50: {min: 70 %, confidence: 95 %}}",
    "repeat: 9\n    sequential: {acceptable: 5 %, rejectable: 60 %, producer_risk: 20 %, consumer_risk: 10 %}\n"
    "    steps: [{read: colour, name: colour @}]",
    "repeat: 2\n    steps: [{disconnect: , name: off @}, {connect: , name: on @, attempts: 3}]\n    expect: {on @.elapsed.mean: {max: 9 s}}",
    "group:\n    first: [{read: ambient, name: before @, expect: {value: {min: 20 °C}}}]\n"
    "    steps: [{exchange: control, raw: '00', name: ask @}]\n    finally: [{write: colour, value: red, name: after @}]\n"
    "    expect: {passed: {equals: 3}, ask @.response_time: {max: 3 s}, ask @.value: {equals: '00'}}",
    "group:\n    steps: [{read: ambient, name: one @}, {notify: log, count: 3, name: some @}]\n"
    "    expect: {failed: {equals: 0}, some @.value: {min: 0}, some @.count: {min: 3}}",
    "listen: {log: {counter: value}, control: {}}\n    steps: [{exchange: control, raw: '00', name: asked @}, {wait: 500 ms, name: rest @}]\n"
    "    reactions: {answer: {after: asked @, until: {control.length: {min: 1 bytes}}}}\n"
    "    expect: {log.count: {min: 2}, answer: {max: 3 s}, asked @.response_time: {max: 3 s}}",
    "listen: {console: }\n    steps: [{console: , send: status, name: asked @, until: {line: {matches: 'status: (?P<state>.*), .*'}}}]\n"
    "    expect: {console.count: {min: 1}, asked @.state: {equals: ok}}",
    "group:\n    steps: [{pair: , name: bond @}, {disconnect: , name: apart @}, {connect: , name: back @, attempts: 3}, {encrypt: , name: key @}]\n"
    "    expect: {failed: {equals: 0}, bond @.method: {equals: just works}, key @.key_size: {min: 16}}",
    "group:\n    steps: [{pair: , name: bond @}, {unpair: , name: gone @, steps: [{write: forget, value: 1, name: forget @}]}, {connect: , name: back @, attempts: 3}]\n"
    "    expect: {passed: {equals: 3}, gone @.old_key: {equals: no key}, gone @.pairs_again: {equals: true}}",
]
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
    "console:\n    send: status\n    until: {line: {matches: 'status: .*, supply (?P<supply>.*)'}}\n    expect: {supply: {min: 2.9 V}}",
    "robust: 6\n    only: [handles, uuids]\n    expect: {died: {equals: false}, wrong_answers: {equals: 0}, answered: {min: 4}}",
    "pair:\n    expect: {method: {equals: just works}, bonded: {equals: true}, key_size: {min: 16}}",
    *COMPOSITES,
    "scan:\n    for: 1 s\n    expect: {count: {min: 1}, rssi: {min: -90 dBm}}",
]
AGAIN = [
    "disconnect:\n    expect: {advertises_after: {max: 5 s}}",
    "connect:\n    attempts: 3\n    expect: {payload: {min: 20 bytes}}",
]
ACCESS = (
    "access: {ambient: {read: open}, battery level: {read: open, subscribe: open}, others: {read: any, write: any, subscribe: any}}\n"
    "    levels: {encrypted: {pair: none}}\n    expect: {differences: {equals: 0}, tried: {min: 9}}"
)


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
    if chance.random() < 0.5 and not any("pair:" in step for step in steps):
        steps += [ACCESS]  # begins without a bond, and leaves no link
    return (
        HEAD
        + NAMES
        + "caution: the unit may suffer\nsteps:\n"
        + "".join(_named(step, n) for n, step in enumerate(steps, 1))
    )


def _named(step: str, number: int) -> str:
    step = step.replace("@", str(number))
    if step.startswith("group:"):
        return f"  - group: step {number}{step.removeprefix('group:')}\n"
    return f"  - {step}\n    name: step {number}\n"
