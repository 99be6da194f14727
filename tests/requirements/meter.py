"""What the makers of meters want to know."""

from __future__ import annotations

from tests.requirements.kit import HERE, Requirement

IMAGE = HERE / "units" / "meter.yaml"  # any file will do

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
    Requirement(
        "the energy is the power times the time",
        "meter",
        """
  - read: energy
    save: {value: before}
  - read: power
    save: {value: power}
  - wait: 6 min
    within: 7 min
  - read: energy
    name: energy afterwards
    save: {value: after}
  - compute: {ratio: '${(after - before) / (power * 6 min)}'}
    name: measured to computed
    expect: {ratio: {nominal: 1, tolerance: 3 %}}
""",
        ("to: 3000 Wh, over: 3600 s", "to: 3200 Wh, over: 3600 s"),
        fails="measured to computed",
    ),
    Requirement(
        "every tariff is kept",
        "meter",
        """
  - repeat: {tariff: ['day', night, feast]}
    name: tariffs
    steps:
      - write: tariff
        name: choose
        value: '${tariff}'
      - read: tariff
        name: chosen
        expect: {value: {equals: '${tariff}'}}
""",
        ("        value: 'day'", "        value: 'day'\n        on_write: {cases: [{starts_with: '02', set: {tariff: night}}]}"),
        fails="chosen",
        everywhere=True,
    ),
    Requirement(
        "an image arrives whole",
        "meter",
        f"""
  - write: image
    name: send the image
    file: {IMAGE}
    pieces: payload
    response: false
    within: 60 s
  - read: received
    expect: {{value: {{equals: {IMAGE.stat().st_size} bytes}}}}
""",
        ("on_write: {store: false, set: {received: {add: length}}}",
         "on_write: {store: false, cases: [{every: 3}, {set: {received: {add: length}}}]}"),
        fails="read received",
    ),
    Requirement(
        "the market sets the highest power",
        "meter",
        """
  - read: model number
    expect: {value: {equals: '${model}'}}
  - read: top
    expect: {value: '${highest}'}
""",
        ("value: 3680 W", "value: 7200 W"),
        fails="read top",
        top="""
given:
  market: {one_of: [de, us], default: de}
variants:
  market:
    de: {model: EM2-DE, highest: {max: 3680 W}}
    us: {model: EM2-US, highest: {min: 7000 W, max: 7200 W}}
""",
    ),
]  # fmt: skip
