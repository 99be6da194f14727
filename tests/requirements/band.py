"""What the makers of wearables want to know."""

from __future__ import annotations

from tests.requirements.kit import HERE, Requirement

BOTH = f"""
devices:
  band: {{select: {{name: WB-12}}, use: {HERE}/names/band.yaml}}
  remote: {{select: {{name: RM-12}}, use: {HERE}/names/band.yaml}}
"""

REQUIREMENTS = [
    Requirement(
        "it can be found again soon after a link",
        "band",
        """
  - disconnect:
    expect: {advertises_after: {max: 1 s}}
""",
        ("again_after: 200 ms", "again_after: 4 s"),
        fails="disconnect",
    ),
    Requirement(
        "the heart rate is plausible and regular",
        "band",
        """
  - notify: heart rate measurement
    for: 20 s
    expect:
      rate: {nominal: 1 Hz, tolerance: 5 %}
      gap_max: {max: 1.5 s}
      value.heart_rate: {min: 40 1/min, max: 120 1/min}
""",
        ("{noise: {mean: 62 1/min, sd: 1 1/min}}", "{sequence: [62 1/min, 61 1/min, 63 1/min, 0 1/min]}"),
        fails="notify heart rate measurement",
        everywhere=True,
    ),
    Requirement(
        "twenty links one after the other",
        "band",
        """
  - disconnect:
    name: begin without a link
  - repeat: 20
    name: reconnect
    stop_when: {failed: {min: 3}}
    steps:
      - connect:
        name: link
        attempts: 2
      - disconnect:
        name: leave
    expect: {link.elapsed.p95: {max: 1.5 s}, rounds: {equals: 20}, failed: {max: 1}}
""",
        ("again_after: 200 ms", "again_after: 4 s"),
        fails="reconnect",
        says="above the maximum 1.5 s",
    ),
    Requirement(
        "the mode shows in the power within half a second",
        "band",
        """
  - listen:
      motion: {counter: number}
    name: while the mode changes
    steps:
      - wait: 1 s
      - write: mode
        name: run
        value: run
      - wait: 2 s
        name: settle
    reactions:
      busy: {after: run, until: {motion.value.power: {min: 250 mW}}}
    expect: {busy: {max: 500 ms}, motion.lost: {equals: 0}}
""",
        ("notify: {period: 50 ms, jitter: 1 ms}", "notify: {period: 50 ms, jitter: 1 ms, drop_every: 15}"),
        fails="while the mode changes",
        says="is not 0",
        everywhere=True,
    ),
    Requirement(
        "each link is counted and costs no more than a point",
        "band",
        """
  - read: links
    save: {value: links}
  - read: battery level
    save: {value: before}
  - disconnect:
  - connect:
    name: connect again
    attempts: 3
  - read: links
    name: one link more
    expect: {value: {equals: '${links + 1}'}}
  - read: battery level
    name: at most a point less
    expect: {value: {min: '${before - 1 %}'}}
""",
        ("battery level: {add: -1 %}", "battery level: {add: -3 %}"),
        fails="at most a point less",
    ),
    Requirement(
        "the remote control and the band are two devices",
        "band",
        """
  - connect:
    device: band
    attempts: 3
  - connect:
    name: connect the remote
    device: remote
    attempts: 3
  - write: button
    name: press the button
    device: remote
    value: 1
    read_back: true
  - read: mode
    device: band
    expect: {value: {equals: 'off'}}
""",
        (
            "{characteristic: button, properties: [read, write], value: 0}",
            "{characteristic: button, properties: [read, write], value: 0, on_write: {store: false}}",
        ),
        fails="press the button (remote)",
        cause="device",
        top=BOTH,
        reach="",
    ),
    Requirement(
        "the band is heard as well as the remote beside it",
        "band",
        """
  - scan:
    device: band
    for: 2 s
    save: {rssi: band}
  - scan:
    name: scan for the remote
    device: remote
    for: 2 s
    save: {rssi: remote}
  - compute: {weaker: '${remote - band}'}
    name: how much weaker the band is
    expect: {weaker: {max: 12 dB}}
""",
        ("    address: 'C4:1F:5A:40:00:04'\n", "    address: 'C4:1F:5A:40:00:04'\n    rssi: {mean: -75 dBm}\n"),
        fails="how much weaker the band is",
        says="above the maximum 12 dB",
        top=BOTH,
        reach="",
    ),
]
