"""What the makers of medical devices want to know."""

from __future__ import annotations

from tests.requirements.kit import Requirement

RESTART = """
  - write: control
    name: restart
    value: restart
    within: 8 s
    expect: {lost_after: {max: 7 s}}
  - scan:
    name: it comes back
    expect: {found_after: {max: 4 s}}
  - connect:
    name: connect again
    attempts: 3
"""

REQUIREMENTS = [
    Requirement(
        "the self test is done in time",
        "pump",
        """
  - write: control
    value: self test
  - notify: status
    name: until it is ready
    until: {value.state: {equals: ready}}
    within: 15 s
    expect: {reached_after: {max: 5 s}}
  - read: status
    expect: {value.progress: {equals: 100 %}}
""",
        ("{value: testing, for: 3 s}", "{value: testing, for: 30 s}"),
        fails="until it is ready",
        says="not reached",
        everywhere=True,
    ),
    Requirement(
        "a self test is no longer than it may be",
        "pump",
        """
  - write: control
    value: self test
  - read: status
    name: ready in time
    until: {value.state: {equals: ready}}
    every: 100 ms
    within: 15 s
    expect: {reached_after: {min: 2 s, max: 4 s}, tries: {min: 3}}
""",
        ("{value: testing, for: 3 s}", "{value: testing, for: 6 s}"),
        fails="ready in time",
        says="above the maximum 4 s",
    ),
    Requirement(
        "it does not start before its self test",
        "pump",
        """
  - write: control
    name: start too early
    value: start
    expect: {att_error: {equals: application error 0x90}}
  - read: status
    expect: {value.flow: {equals: 0 ml}}
""",
        ("only_if: {status.state: ready}, then", "then"),
        fails="start too early",
        everywhere=True,
    ),
    Requirement(
        "a restart ends the self test",
        "pump",
        f"""
  - write: control
    value: self test
  - wait: 1 s
{RESTART}
  - read: status
    name: idle again
    expect: {{value.state: {{equals: idle}}}}
""",
        ("volatile: true", "volatile: false"),
        fails="idle again",
        everywhere=True,
    ),
    Requirement(
        "the dose outlives a restart",
        "pump",
        f"""
  - write: dose
    value: 12.5 ml
{RESTART}
  - read: dose
    name: the same dose
    expect: {{value: {{equals: 12.5 ml}}}}
""",
        ("value: 25 ml", "value: 25 ml\n        volatile: true"),
        fails="the same dose",
    ),
    Requirement(
        "it is back in time",
        "pump",
        RESTART,
        ("reboot: 3 s", "reboot: 9 s"),
        fails="it comes back",
        says="above the maximum 4 s",
    ),
    Requirement(
        "a restart is a restart",
        "pump",
        RESTART,
        ("- {starts_with: '04', reboot: 3 s}", "- {starts_with: '04', set: {alarms: 0}}"),
        fails="restart",
    ),
    Requirement(
        "a dose beyond the range is refused",
        "pump",
        """
  - write: dose
    name: too much
    raw: 89 13
    expect: {att_error: {equals: out of range}}
""",
        ("        value: 25 ml\n", "        value: 25 ml\n        on_write: {check: false}\n"),
        fails="too much",
        says="none",
    ),
    Requirement(
        "the alarm log can be cleared",
        "pump",
        """
  - read: alarms
    expect: {value: {min: 1}}
  - write: control
    value: clear log
  - read: alarms
    name: none left
    expect: {value: {equals: 0}}
""",
        ("set: {alarms: 0}", "set: {alarms: 4}"),
        fails="none left",
    ),
    Requirement(
        "a reading takes no longer than it may",
        "pump",
        """
  - read: serial number
    expect: {value: {matches: 'IP-\\d{7}'}, elapsed: {max: 250 ms}}
""",
        ("value: IP-0000093", "value: IP-0000093, on_read: {delay: 400 ms}"),
        fails="read serial number",
        says="above the maximum",
    ),
    Requirement(
        "the flow follows the start",
        "pump",
        """
  - write: control
    value: self test
  - notify: status
    name: until it is ready
    until: {value.state: {equals: ready}}
    within: 15 s
  - listen: {status: {}}
    name: while it starts
    steps:
      - write: control
        name: start
        value: start
      - wait: 3 s
    reactions:
      flow: {after: start, until: {status.value.flow: {min: 49 ml}}}
    expect: {flow: {max: 600 ms}, status.gap_max: {max: 400 ms}}
""",
        ("then: [{delay: 200 ms, set: {status.flow: 50 ml}}]", "then: [{delay: 900 ms, set: {status.flow: 50 ml}}]"),
        fails="while it starts",
        says="above the maximum 0.6 s",
        everywhere=True,
    ),
    Requirement(
        "the flow comes at all",
        "pump",
        """
  - write: control
    value: self test
  - notify: status
    name: until it is ready
    until: {value.state: {equals: ready}}
    within: 15 s
  - listen: {status: {}}
    name: while it starts
    steps:
      - write: control
        name: start
        value: start
      - wait: 3 s
    reactions:
      flow: {after: start, until: {status.value.flow: {min: 49 ml}}}
    expect: {flow: {max: 2 s}}
""",
        ("set: {status.flow: 50 ml}", "set: {status.flow: 4.5 ml}"),
        fails="while it starts",
        says="found 4.5 ml",
    ),
    Requirement(
        "without a self test there is no infusion, and the rest is tested",
        "pump",
        """
  - group: infusion
    first:
      - write: control
        name: begin the self test
        value: self test
      - read: status
        name: the self test
        until: {value.state: {one_of: [ready, faulty]}}
        every: 200 ms
        within: 10 s
        expect: {value.state: {equals: ready}}
    steps:
      - write: control
        name: start
        value: start
      - wait: 1 s
    finally:
      - write: control
        name: stop
        value: stop
  - read: serial number
    expect: {value: {matches: 'IP-\\d{7}'}}
""",
        ("{value: ready}]}", "{value: faulty}]}"),
        fails="the self test",
        left=("start", "stop"),
    ),
    Requirement(
        "an hour costs two to five points of battery",
        "pump",
        """
  - read: battery level
    save: {value: before}
  - wait: 1 h
    within: 61 min
  - read: battery level
    name: battery level an hour later
    save: {value: after}
  - compute: {used: '${before - after}'}
    name: an hour of use
    expect: {used: {min: 2 %, max: 5 %}}
""",
        ("to: 30 %, over: 72000 s", "to: 30 %, over: 30000 s"),
        fails="an hour of use",
        says="above the maximum 5 %",
    ),
    Requirement(
        "it says when it is back after a restart",
        "pump",
        """
  - write: control
    name: restart
    value: restart
    within: 8 s
    expect: {lost_after: {max: 7 s}}
  - connect:
    name: connect again
    within: 20 s
    expect: {advertises_after: {max: 5 s}}
""",
        ("reboot: 3 s", "reboot: 12 s"),
        fails="connect again",
        says="above the maximum 5 s",
    ),
    Requirement(
        "the newer board has an empty alarm log",
        "pump",
        """
  - read: hardware revision
    save: {value: board}
    expect: {value: {one_of: [A, B]}}
  - read: alarms
    name: alarms of board B
    only_if: {board: {equals: B}}
    expect: {value: {max: 4}}
  - read: alarms
    name: alarms of board A
    only_if: {board: {equals: A}}
    expect: {value: {equals: 0}}
""",
        (
            "{characteristic: alarms, properties: [read], value: 4}",
            "{characteristic: alarms, properties: [read], value: 5}",
        ),
        fails="alarms of board B",
        left=("alarms of board A",),
    ),
    Requirement(
        "a restart as one thing",
        "pump",
        """
  - reboot:
    name: restart
    steps:
      - write: control
        name: order it
        value: restart
    expect: {lost_reason: {equals: connection timeout}, connected_after: {max: 8 s}}
  - read: status
    expect: {value.state: {equals: idle}}
""",
        ("reboot: 3 s", "reboot: 12 s"),
        fails="restart",
        says="above the maximum 8 s",
    ),
]
