"""What every radio has to do alike: plans, and how each of their steps ends.

`ends` has a word for each step: the verdict, then the cause of one that did not pass, or the step that a skipped one
names as its root. Waits are short, since on two of the radios they are real.
"""

from __future__ import annotations

from dataclasses import dataclass

NAMES = """
    setting: {uuid: 5e7c0002-3b7d-4a55-9c0e-7d1f5a2b8e10, as: sint16, scale: 0.01, unit: °C}
    command: {uuid: 5e7c0003-3b7d-4a55-9c0e-7d1f5a2b8e10, as: hex}
    note: {uuid: 5e7c0004-3b7d-4a55-9c0e-7d1f5a2b8e10, as: utf8}
    door: {uuid: 5e7c0005-3b7d-4a55-9c0e-7d1f5a2b8e10, as: boolean}
    clock: {uuid: 5e7c0006-3b7d-4a55-9c0e-7d1f5a2b8e10, as: date_time}
    gaps: {uuid: 5e7c0007-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: gap, as: uint16, unit: ms, list: true}]}
    events: {uuid: 5e7c0008-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    slow: {uuid: 5e7c0009-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    odd: {uuid: 5e7c000a-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint16}
    long: {uuid: 5e7c0201-3b7d-4a55-9c0e-7d1f5a2b8e10, as: hex}
    hangs: {uuid: 5e7c0302-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    hangs when written: {uuid: 5e7c0301-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    drops: {uuid: 5e7c0401-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    leaves: {uuid: 5e7c0501-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    restarts: {uuid: 5e7c0601-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    burst: {uuid: 5e7c0701-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: number, as: uint16}, {name: level, as: uint16, unit: mV}]}
    holes: {uuid: 5e7c0702-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: number, as: uint16}]}
    order: {uuid: 5e7c0703-3b7d-4a55-9c0e-7d1f5a2b8e10, as: hex}
    answer: {uuid: 5e7c0704-3b7d-4a55-9c0e-7d1f5a2b8e10, as: hex}
    steady: {uuid: 5e7c0705-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: number, as: uint16}, {name: level, as: uint16, unit: mV}]}
    progress: {uuid: 5e7c0706-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    write only: {uuid: 5e7c0801-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    read only: {uuid: 5e7c0802-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    hidden: {uuid: 5e7c0803-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
    other error: {uuid: 5e7c0804-3b7d-4a55-9c0e-7d1f5a2b8e10, as: uint8}
"""
REACH = """
  - scan:
    for: 300 ms
  - connect:
    attempts: 3
"""


@dataclass(frozen=True)
class Case:
    """`says` is a pattern that the verdict's sentence has on every radio."""

    name: str
    unit: str
    steps: str
    ends: tuple[str, ...]
    exit_code: int
    says: str = ""
    reach: str = REACH
    given: str = ""

    @property
    def plan(self) -> str:
        select = self.unit if self.unit.startswith("{") else f"{{name: {self.unit}}}"
        head = f"plan: {self.name}\ndevice:\n  select: {select}\n  attributes:{NAMES}{self.given}steps:{self.reach}"
        return head + self.steps

    def __str__(self) -> str:
        return self.name.replace(" ", "-")


def passes(name: str, unit: str, steps: str, *, reach: str = REACH, given: str = "") -> Case:
    count = sum(line.startswith("  - ") for line in (reach + steps).splitlines())
    return Case(name, unit, steps, ("pass",) * count, 0, reach=reach, given=given)


def fails(name: str, unit: str, steps: str, *ends: str, says: str, reach: str = REACH) -> Case:
    """Of `ends` those of the scan and the connection at the start are left out."""
    return Case(name, unit, steps, ("pass", "pass", *ends) if reach == REACH else ends, 1, says, reach)


SCAN = """
  - scan:
    for: 1 s
    expect:
      found_after: {max: 1 s}
      rssi: {min: -55 dBm, max: -50 dBm}
      name: {equals: all sorts, matches: 'all .*', length: 9, one_of: [all sorts, some]}
      services: {contains: battery}
      manufacturer_data: {equals: 'FF FF 01 02', length: 4}
      service_data: {contains: battery=55}
      tx_power: {equals: 4 dBm}
      address_type: {equals: random}
      address: {equals: 'C0:00:00:00:0C:01'}
"""
REFUSALS = {
    # code: (of a read, of a write), by the names of Core Vol 3 Part F 3.4.1.1 and the Core Specification Supplement
    "0101": ("invalid handle", "invalid handle"),
    "0102": ("read not permitted", "write not permitted"),
    "0106": ("request not supported", "invalid offset"),
    "0109": ("prepare queue full", "invalid attribute value length"),
    "010e": ("unlikely error", "unlikely error"),
    "0111": ("insufficient resources", "value not allowed"),
    "0180": ("application error 0x80", "application error 0x9f"),
    "01fc": ("write request rejected", "procedure already in progress"),
    "01ff": ("out of range", "out of range"),
}
REFUSED = "".join(
    f"  - read: 5e7c{code}-3b7d-4a55-9c0e-7d1f5a2b8e10\n    expect: {{att_error: {{equals: {of_read}}}}}\n"
    f"  - write: 5e7c{code}-3b7d-4a55-9c0e-7d1f5a2b8e10\n    raw: '02'\n    expect: {{att_error: {{equals: {of_write}}}}}\n"
    for code, (of_read, of_write) in REFUSALS.items()
)

STEPS = [
    passes("scan", "all sorts", "", reach=SCAN),
    passes(
        "connect, disconnect",
        "all sorts",
        """
  - disconnect:
    expect: {elapsed: {max: 5 s}, advertises_after: {max: 5 s}}
""",
        reach="""
  - connect:
    attempts: 3
    expect: {elapsed: {max: 5 s}, attempts: {min: 1, max: 3}, payload: {min: 20 bytes}}
""",
    ),
    passes(
        "discover",
        "all sorts",
        """
  - discover:
    expect:
      services: {contains: [battery, environmental sensing]}
      table:
        battery service: {battery level: [read, notify]}
        environmental sensing: {temperature: [read, notify]}
  - discover:
    name: part of a service
    extra: allowed
    expect:
      table:
        5e7c0001-3b7d-4a55-9c0e-7d1f5a2b8e10: {setting: [read, write], command: [write, write without response, notify]}
""",
    ),
    passes(
        "read",
        "all sorts",
        """
  - read: temperature
    expect: {value: {equals: -12.34 °C}, raw: {equals: '2E FB'}, length: {equals: 2 bytes}, elapsed: {max: 2 s}, att_error: {equals: none}}
  - read: temperature/user description
    expect: {value: {equals: Probe at the shelf}}
  - read: battery/battery level
    save: {value: level}
    expect: {value: {min: 20 %, max: 100 %}}
  - read: '2A19'
    expect: {value: {nominal: '${level}', tolerance: 1 %}}
""",
    ),
    passes(
        "write",
        "all sorts",
        """
  - write: setting
    value: 8 °C
    read_back: true
    expect: {value: {equals: 8 °C}, elapsed: {max: 2 s}, att_error: {equals: none}}
  - write: setting
    name: out of its range
    raw: 'FF 7F'
    expect: {att_error: {equals: out of range}}
  - write: setting
    name: too short
    raw: '01'
    expect: {att_error: {equals: invalid attribute value length}}
  - write: setting
    name: as it was
    value: 5 °C
    expect: {elapsed: {max: 2 s}}
  - write: command
    raw: '07'
    response: false
    expect: {elapsed: {max: 2 s}}
  - write: temperature/user description
    value: Probe in the door
    read_back: true
    expect: {value: {equals: Probe in the door}}
  - write: temperature/user description
    name: the description as it was
    value: Probe at the shelf
""",
    ),
    passes(
        "notify",
        "all sorts",
        """
  - notify: temperature
    for: 1 s
    expect:
      count: {min: 12, max: 22}
      rate: {nominal: 20 Hz, tolerance: 30 %}
      first_after: {max: 1 s}
      gap_max: {max: 500 ms}
      gap_p95: {max: 500 ms}
      length: {equals: 2 bytes}
      throughput: {min: 0.1 kbit/s}
      value: {equals: -12.34 °C}
  - notify: events
    count: 5
    within: 3 s
    counter: value
    expect: {count: {equals: 5}, lost: {equals: 0}, duplicated: {equals: 0}}
""",
    ),
    passes(
        "exchange",
        "all sorts",
        """
  - exchange: command
    raw: '01'
    starts_with: '81'
    expect: {response_time: {max: 2 s}, value: {equals: '81 00'}, att_error: {equals: none}}
""",
    ),
    passes(
        "wait, ask, call, command",
        "all sorts",
        """
  - wait: 100 ms
    expect: {elapsed: {min: 100 ms, max: 1 s}}
  - ask: Is the lamp green?
    given: lamp
    expect: {answer: {equals: true}}
  - call: helper:double
    with: {number: 21}
    expect: {value: {equals: 42}}
  - command: [echo, hello]
    within: 20 s
    expect: {exit_code: {equals: 0}, output: {equals: hello}}
  - read: battery level
    name: the link has outlived them
    expect: {value: {equals: 97 %}}
""",
        given="given:\n  lamp: {one_of: ['yes', 'no'], default: 'yes'}\n",
    ),
]

LIMITS = [
    passes(
        "limits that hold",
        "all sorts",
        """
  - read: door
    expect: {value: {equals: true}}
  - read: clock
    expect: {value: {equals: '2026-12-25T14:05:30', min: '2026-01-01T00:00:00', matches: '2026-.*', contains: '-12-'}}
  - read: gaps
    expect: {value.gap: {min: 10 ms, max: 30 ms, length: {min: 3, max: 3}, contains: 20 ms}}
  - read: temperature
    expect: {value: {nominal: -12 °C, tolerance: 1 K, one_of: [-12.34 °C, 0 °C]}, raw: {bits: {mask: 0x8000, value: 0x8000}}}
  - read: temperature/user description
    expect: {value: {contains: at the, length: {max: 20}, one_of: [Probe at the shelf, x]}}
""",
    ),
    fails(
        "limits that are broken",
        "all sorts",
        """
  - read: temperature
    name: equals
    expect: {value: {equals: 1 °C}}
  - read: temperature
    name: min
    expect: {value: {min: 0 °C}}
  - read: temperature
    name: max
    expect: {value: {max: -20 °C}}
  - read: temperature
    name: nominal
    expect: {value: {nominal: 20 °C, tolerance: 1 K}}
  - read: temperature
    name: one of
    expect: {value: {one_of: [1 °C, 2 °C]}}
  - read: temperature/user description
    name: matches
    expect: {value: {matches: 'x.*'}}
  - read: temperature/user description
    name: contains
    expect: {value: {contains: door}}
  - read: temperature
    name: bits
    expect: {raw: {bits: {mask: 0x8000, value: 0}}}
  - read: temperature
    name: length
    expect: {length: {equals: 3 bytes}}
  - notify: temperature
    name: of a stream
    for: 300 ms
    expect: {value: {max: -20 °C}}
""",
        *["fail limit"] * 10,
        says="-12.34 °C is not 1 °C",
    ),
]

ATTRIBUTES = [
    passes("ATT errors that are expected", "refusing", REFUSED),
    fails(
        "an ATT error of a read that nobody expected",
        "refusing",
        """
  - read: 5e7c0102-3b7d-4a55-9c0e-7d1f5a2b8e10
  - write: 5e7c0180-3b7d-4a55-9c0e-7d1f5a2b8e10
    raw: '01'
  - discover:
    expect: {services: {length: {min: 1}}}
""",
        "fail device",
        "fail device",
        "pass",
        says=r"ATT error 0x02 \(read not permitted\)",
    ),
    passes(
        "long reads and writes",
        "long values",
        f"""
  - read: long
    expect: {{length: {{equals: 512 bytes}}, value: {{equals: '{bytes((i * 7 + i // 256) % 256 for i in range(512)).hex()}'}}}}
  - write: long
    raw: '{bytes(511 - i & 255 for i in range(512)).hex()}'
    read_back: true
    expect: {{value: {{length: 512}}}}
""",
    ),
    fails(
        "one UUID twice",
        "doubled",
        """
  - read: temperature
  - read: temperature[0]
    expect: {value: {equals: 3 °C}}
  - read: temperature[1]
    expect: {value: {equals: 4 °C}}
""",
        "fail device",
        "pass",
        "pass",
        says="'temperature' is ambiguous, 2 attributes answer to it",
    ),
    fails(
        "what the table does not have",
        "doubled",
        """
  - read: humidity
  - notify: temperature[0]
    for: 200 ms
  - write: temperature[0]
    value: 1 °C
""",
        "fail device",
        "fail device",
        "fail device",
        says="the device has no attribute 'humidity'",
    ),
    fails(
        "bytes that do not fit their format",
        "all sorts",
        """
  - read: odd
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        "fail device",
        "pass",
        says="odd",
    ),
    passes(
        "a slow answer is an answer",
        "all sorts",
        """
  - read: slow
    expect: {elapsed: {min: 600 ms, max: 2 s}}
""",
    ),
]

LINK = [
    fails(
        "silent when read",
        "silent",
        """
  - read: hangs
    within: 700 ms
  - read: hangs
    name: again
""",
        "fail device",
        "skip 3",
        says=r"read hangs: the device did not answer within 0\.[67]\d* s",
    ),
    fails(
        "silent when written",
        "silent",
        """
  - write: hangs when written
    value: 1
    within: 700 ms
  - read: hangs
""",
        "fail device",
        "skip 3",
        says=r"the device did not answer within 0\.[67]\d* s",
    ),
    fails(
        "silent, and connected again",
        "silent",
        """
  - read: hangs
    within: 700 ms
  - connect:
    name: again
  - discover:
    expect: {services: {contains: 5e7c0300-3b7d-4a55-9c0e-7d1f5a2b8e10}}
""",
        "fail device",
        "pass",
        "pass",
        says="did not answer",
    ),
    fails(
        "link lost in a read",
        "dropping",
        """
  - read: drops
  - read: battery level
""",
        "fail link",
        "skip 3",
        says="read drops: the link was lost",
    ),
    fails(
        "link lost in a write",
        "dropping",
        """
  - write: drops
    value: 1
  - connect:
    name: again
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        "fail link",
        "pass",
        "pass",
        says="write drops: the link was lost",
    ),
    fails(
        "link lost in notify",
        "short lived",
        """
  - notify: temperature
    for: 5 s
  - read: temperature
""",
        "fail link",
        "skip 3",
        says="the link was lost",
    ),
    fails(
        "link lost between steps",
        "short lived",
        """
  - command: [sleep, '3']
  - read: temperature
  - connect:
    name: again
  - read: temperature
    name: after it
    expect: {value: {equals: 21 °C}}
""",
        "fail link",
        "skip 3",
        "pass",
        "pass",
        says="the link was lost in this step",
    ),
    fails(
        "gone",
        "leaving",
        """
  - write: leaves
    value: 1
  - connect:
    name: again
    within: 2 s
  - read: battery level
""",
        "fail link",
        "fail link",
        "skip 3",
        says="write leaves: the link was lost",
    ),
    fails(
        "the table changes with a restart",
        "updated",
        """
  - discover:
    name: before
    expect: {table: {battery service: {battery level: [read]}}}
    extra: allowed
  - write: restarts
    value: 1
  - connect:
    name: again
    within: 10 s
    fresh: true
  - discover:
    name: after
    expect: {table: {environmental sensing: {temperature: [read]}, battery service: {battery level: [read, notify]}}}
  - read: temperature
    expect: {value: {equals: 21 °C}}
  - read: battery level
    expect: {value: {equals: 40 %}}
""",
        *("pass", "fail link", "pass", "pass", "pass", "pass"),
        says="write restarts: the link was lost",
    ),
]

ENDING = [
    passes(
        "a unit that ends its link as it must",
        "dropping",
        """
  - write: drops
    value: 1
    expect: {lost_after: {max: 1 s}, lost_reason: {equals: remote user terminated connection}}
  - connect:
    name: again
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
    ),
    passes(
        "a unit that restarts",
        "restarting",
        """
  - write: restarts
    value: 1
    expect: {lost_after: {max: 4 s}, lost_reason: {equals: connection timeout}}
  - connect:
    name: again
    attempts: 3
    expect: {advertises_after: {min: 50 ms, max: 5 s}}
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
    ),
    passes(
        "a unit that falls silent",
        "falling asleep",
        """
  - write: leaves
    value: 1
    expect: {lost_after: {max: 4 s}}
  - scan:
    name: silence
    for: 2 s
    expect: {heard: {equals: false}}
""",
    ),
    fails(
        "a unit that is not silent",
        "all sorts",
        """
  - disconnect:
  - scan:
    name: silence
    for: 1 s
    expect: {heard: {equals: false}}
  - connect:
    name: again
    attempts: 3
""",
        *("pass", "fail limit", "pass"),
        says="true is not false",
    ),
    passes(
        "until it advertises this",
        "all sorts",
        "",
        reach="""
  - scan:
    within: 5 s
    until: {manufacturer_data: {equals: 'FF FF 01 02'}, services: {contains: battery}, name: {equals: all sorts}}
    expect: {reached_after: {max: 4 s}}
""",
    ),
    fails(
        "never does it advertise that",
        "all sorts",
        "",
        "fail limit",
        says="not reached: expected manufacturer_data equals FF FF 09; found FF FF 01 02 after",
        reach="""
  - scan:
    for: 500 ms
    within: 3 s
    until: {manufacturer_data: {equals: 'FF FF 09'}}
""",
    ),
    fails(
        "a unit that does not end its link",
        "all sorts",
        """
  - write: note
    value: x
    within: 1 s
    expect: {lost_after: {max: 1 s}}
  - connect:
    name: again
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        *("fail limit", "pass", "pass"),
        says="the link was not lost within 1 s",
    ),
]

REBOOT = [
    passes(
        "a restart as one step",
        "restarting",
        """
  - reboot:
    within: 15 s
    steps:
      - {write: restarts, value: 1}
    expect: {lost_after: {max: 5 s}, advertises_after: {min: 50 ms, max: 8 s}, elapsed: {max: 15 s}}
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
    ),
    fails(
        "a restart that does not happen",
        "all sorts",
        """
  - reboot:
    within: 2 s
    steps:
      - {write: note, value: x}
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        *("pass", "pass"),
        says="the link was not lost within 2 s",
    ),
    fails(
        "a restart without return",
        "going",
        """
  - reboot:
    within: 4 s
    steps:
      - {write: leaves, value: 1}
  - read: battery level
""",
        *("pass", "skip 3"),
        says="was not heard",
    ),
]

UNOFFERED = [
    passes(
        "refusals of what the table does not offer",
        "not offering",
        """
  - read: write only
    expect: {att_error: {equals: read not permitted}}
  - write: read only
    value: 1
    expect: {att_error: {equals: write not permitted}}
""",
    ),
    fails(
        "a unit that does not refuse",
        "not offering",
        """
  - read: hidden
    expect: {att_error: {equals: read not permitted}}
  - write: other error
    value: 1
    expect: {att_error: {equals: write not permitted}}
  - write: read only
    value: 1
""",
        *("fail limit", "fail limit", "fail device"),
        says="'none' is not 'read not permitted'",
    ),
]

FINDING = [
    fails(
        "nobody of this name",
        "nobody",
        """
  - connect:
  - read: battery level
""",
        *("fail link", "skip 1", "skip 1"),
        reach="""
  - scan:
    for: 300 ms
    within: 1 s
""",
        says=r"the unit was not heard in 1(\.0\d)? s \(others were: ",
    ),
    Case(
        "two that fit",
        "twin *",
        """
  - connect:
""",
        ("error station", "skip 1"),
        7,
        reach="""
  - scan:
    for: 1 s
""",
        says=r"ambiguous: 2 devices match the selection: twin two C0:00:00:00:0C:0A -[0-9.]+ dBm; twin one",
    ),
    passes(
        "the nearest of two",
        "{name: twin *, nearest: 6 dB}",
        """
  - read: temperature
    expect: {value: {equals: 2 °C}}
""",
        reach="""
  - scan:
    for: 1 s
    expect: {name: {equals: twin two}}
  - connect:
""",
    ),
    passes(
        "by services, address and level",
        "{services: [battery], address: 'C0:00:00:00:0C:01', rssi_min: -60 dBm}",
        """
  - read: temperature
    expect: {value: {equals: -12.34 °C}}
""",
    ),
    passes(
        "by manufacturer data",
        "{manufacturer: {company: 0xFFFF, data: '01'}}",
        """
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
    ),
    passes(
        "a public address",
        "public address",
        """
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        reach="""
  - scan:
    for: 300 ms
    expect: {address_type: {equals: public}}
  - connect:
""",
    ),
    passes(
        "connected at the second attempt",
        "reluctant",
        """
  - read: battery level
    expect: {value: {equals: 97 %}}
""",
        reach="""
  - connect:
    attempts: 3
    within: 24 s
    expect: {attempts: {equals: 2}}
""",
    ),
    fails(
        "never connected",
        "deaf",
        """
  - read: battery level
""",
        *("pass", "fail link", "skip 2"),
        reach="""
  - scan:
    for: 300 ms
  - connect:
    within: 3 s
""",
        says="connect to deaf: ",
    ),
    Case(
        "hangs up while it is connected to",
        "hanging up",
        "  - read: battery level\n",
        ("pass", "fail link", "skip 2"),
        1,
        says="connect to hanging up: ",
    ),
    passes(
        "five connections one after the other",
        "all sorts",
        "".join(
            f"  - connect:\n    name: connect {i}\n    attempts: 3\n  - read: battery level\n    name: read {i}\n"
            f"    expect: {{value: {{equals: 97 %}}}}\n  - disconnect:\n    name: disconnect {i}\n"
            for i in range(5)
        ),
        reach="""
  - scan:
    for: 300 ms
""",
    ),
]

STREAMS = [
    passes(
        "a burst is whole and in order",
        "bursting",
        """
  - notify: burst
    count: 400
    within: 15 s
    counter: number
    expect: {count: {equals: 400}, lost: {equals: 0}, duplicated: {equals: 0}, value.level: {equals: 2985 mV}}
""",
    ),
    fails(
        "a stream with holes",
        "bursting",
        """
  - notify: holes
    count: 7
    within: 5 s
    counter: number
    expect: {count: {equals: 7}, lost: {equals: 0}, duplicated: {equals: 0}}
""",
        "fail limit",
        says="1 is not 0",
    ),
    fails(
        "a stream that ends too soon",
        "all sorts",
        """
  - notify: events
    count: 9
    within: 1500 ms
""",
        "fail limit",
        says="5",
    ),
]

REACTION = """
  - listen: {steady: {counter: number}, answer: }
    steps:
      - exchange: order
        raw: '02'
        reply: answer
        answers: {last: {starts_with: FF}, skip: 1, counter: 0}
        expect: {value: {equals: A1 A2 A3 A4}}
      - write: order
        raw: '03'
      - wait: 1 s
    reactions: {rise: {after: write order, until: {steady.value.level: {min: LEVEL}}}}
    expect: {steady.lost: {equals: 0}, answer.count: {equals: 3}, rise: {max: 900 ms}}
"""
WAITING = [
    passes(
        "waiting for a state",
        "bursting",
        """
  - read: progress
    until: {value: {equals: 2}}
    every: 100 ms
    expect: {tries: {equals: 3}}
  - notify: steady
    until: {value.number: {min: 5}}
""",
    ),
    fails(
        "a state that is never reached",
        "bursting",
        """
  - read: progress
    until: {value: {equals: 3}}
    every: 100 ms
    within: 1 s
  - read: progress
    name: the link is there
""",
        "fail limit",
        "pass",
        says="not reached: expected value equals 3; found [12] after ",
    ),
    Case("streams while steps run", "bursting", REACTION.replace("LEVEL", "3 V"), ("pass",) * 5, 0),
    Case(
        "a reaction that does not come",
        "bursting",
        REACTION.replace("LEVEL", "3.2 V"),
        ("pass",) * 5,
        1,
        says="expected steady.value.level min 3200 mV; found 3100 mV, ",
    ),
    passes(
        "a file in pieces",
        "bursting",
        """
  - write: order
    file: helper.py
    pieces: 20
    expect: {count: {equals: 3}, throughput: {min: 0.1 kbit/s}}
  - write: order
    name: without response
    file: helper.py
    pieces: payload
    response: false
    expect: {count: {equals: 1}}
  - read: progress
""",
    ),
]

ALL = [*STEPS, *LIMITS, *ATTRIBUTES, *LINK, *ENDING, *REBOOT, *UNOFFERED, *FINDING, *STREAMS, *WAITING]
