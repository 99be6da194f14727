"""What the makers of meters want to know."""

from __future__ import annotations

from tests.requirements.kit import Requirement

REQUIREMENTS = [
    Requirement(
        "the relay does what is written",
        "meter",
        """
  - write: relay
    value: true
    read_back: true
    expect: {value: {equals: true}}
  - write: relay
    name: and off again
    value: false
    read_back: true
    expect: {value: {equals: false}}
""",
        ("{characteristic: relay, properties: [read, write], value: false}",
         "{characteristic: relay, properties: [read, write], value: false, on_write: {store: false, set: {relay: true}}}"),
        fails="and off again",
        cause="device",
    ),
    Requirement(
        "no pulse is lost",
        "meter",
        """
  - notify: pulses
    for: 10 s
    counter: number
    expect: {lost: {equals: 0}, duplicated: {equals: 0}, gap_max: {max: 400 ms}}
""",
        ("jitter: 1 ms}", "jitter: 1 ms, drop_every: 30}"),
        fails="notify pulses",
        says="is not 0",
        everywhere=True,
    ),
    Requirement(
        "the total only rises",
        "meter",
        """
  - notify: pulses
    count: 30
    within: 10 s
    expect: {value.total: {rising: true}}
""",
        ("total: {counter: {start: 12 Wh, step: 1.5 Wh}}", "total: {sequence: [12 Wh, 13.5 Wh, 13.5 Wh, 15 Wh]}"),
        fails="notify pulses",
    ),
    Requirement(
        "the clock can be set and runs on",
        "meter",
        """
  - write: clock
    value: 86400 s
  - wait: 10 s
  - read: clock
    name: ten seconds later
    expect: {value: {min: 86409 s, max: 86412 s}}
""",
        ("value: {clock: {}}", "value: 0 s"),
        fails="ten seconds later",
        everywhere=True,
    ),
    Requirement(
        "it says who it is before anybody connects",
        "meter",
        """
  - scan:
    for: 1 s
    expect: {name: {equals: EM-07}, manufacturer_data: {equals: FF FF 07}}
""",
        ("data: '07'}", "data: '00'}"),
        fails="scan",
        reach="",
    ),
]  # fmt: skip
