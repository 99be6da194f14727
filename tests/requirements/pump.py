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
]
