"""What the makers of locks want to know."""

from __future__ import annotations

from tests.requirements.kit import Requirement

REQUIREMENTS = [
    Requirement(
        "the bolt reports that it has opened",
        "lock",
        """
  - write: pin
    raw: '12 34'
  - exchange: control
    name: open
    raw: '01'
    reply: answer
    expect: {value: {equals: '81 00'}, response_time: {max: 500 ms}}
  - read: bolt
    name: the bolt is open
    until: {value: {equals: open}}
    every: 100 ms
    within: 3 s
    expect: {reached_after: {max: 1 s}}
""",
        ("{value: moving, for: 400 ms}", "{value: moving, for: 20 s}"),
        fails="the bolt is open",
        says="found 'moving'",
        everywhere=True,
    ),
    Requirement(
        "it locks again by itself",
        "lock",
        """
  - write: pin
    raw: '12 34'
  - exchange: control
    raw: '01'
    reply: answer
  - notify: bolt
    name: locked again
    until: {value: {equals: locked}}
    within: 10 s
    expect: {reached_after: {min: 4 s, max: 7 s}}
""",
        ("{value: open, for: 5 s}, {value: locked}", "{value: open}"),
        fails="locked again",
        says="not reached",
    ),
    Requirement(
        "without the code it stays shut",
        "lock",
        """
  - exchange: control
    name: open without the code
    raw: '01'
    reply: answer
    expect: {value: {equals: '81 05'}}
  - read: bolt
    expect: {value: {equals: locked}}
""",
        ("only_if: {access: open}", "only_if: {access: shut}"),
        fails="open without the code",
    ),
    Requirement(
        "a wrong code is refused",
        "lock",
        """
  - write: pin
    name: a wrong code
    raw: '00 00'
    expect: {att_error: {equals: application error 0x81}}
  - read: access
    expect: {value: {equals: shut}}
""",
        ("- {starts_with: '12 34', set: {access: open}}", "- {starts_with: '00 00', set: {access: open}}"),
        fails="a wrong code",
        everywhere=True,
    ),
    Requirement(
        "the third wrong code ends the link",
        "lock",
        """
  - write: pin
    name: first wrong code
    raw: '00 00'
    expect: {att_error: {equals: application error 0x81}}
  - write: pin
    name: second wrong code
    raw: '00 01'
    expect: {att_error: {equals: application error 0x81}}
  - write: pin
    name: third wrong code
    raw: '00 02'
    within: 3 s
    expect: {lost_after: {max: 1 s}}
""",
        ("every: 3, ", "every: 30, "),
        fails="third wrong code",
        cause="device",
        says="application error 0x81",
        everywhere=True,
    ),
    Requirement(
        "a challenge is another one each time",
        "lock",
        """
  - read: challenge
    save: {value: first}
    expect: {value: {length: 8}}
  - read: challenge
    name: another challenge
    expect: {value: {differs: '${first}'}}
""",
        ("value: {random: {bytes: 8}}", "value: '01 02 03 04 05 06 07 08'"),
        fails="another challenge",
    ),
    Requirement(
        "a nonce comes back",
        "lock",
        """
  - exchange: control
    name: echo
    raw: '02 ${nonce}'
    reply: answer
    expect: {value: {equals: '82 ${nonce}'}}
""",
        ("notify: {answer: '82 {nonce}'}", "notify: {answer: '82 0000000000000000'}"),
        fails="echo",
        top="given:\n  nonce: {random: {bytes: 8}}\n",
        everywhere=True,
    ),
    Requirement(
        "the event log arrives whole",
        "lock",
        """
  - exchange: control
    name: event log
    raw: '03'
    reply: answer
    answers: {last: {starts_with: FF}, skip: 1}
    within: 5 s
    expect: {value: {length: 38, crc: CRC-16/XMODEM}, count: {min: 4}}
""",
        ("crc: CRC-16/XMODEM", "crc: CRC-16/ARC"),
        fails="event log",
        says="CRC",
        everywhere=True,
    ),
    Requirement(
        "every opening is counted",
        "lock",
        """
  - read: openings
    save: {value: before}
  - write: pin
    raw: '12 34'
  - exchange: control
    name: open
    raw: '01'
    reply: answer
  - read: openings
    name: one more
    expect: {value: {above: '${before}'}}
""",
        ("set: {openings: {add: 1}}", "set: {openings: {add: 0}}"),
        fails="one more",
    ),
    Requirement(
        "in ship mode it ends the link with a goodbye",
        "lock",
        """
  - write: control
    name: ship mode
    raw: '05'
    within: 3 s
    expect: {att_error: {equals: none}, lost_after: {max: 1 s}, lost_reason: {equals: remote user terminated connection}}
""",
        ("sleep: 60 s, disconnect: true", "reboot: 60 s"),
        fails="ship mode",
        says="connection timeout",
    ),
    Requirement(
        "an illegal setting is refused and changes nothing",
        "lock",
        """
  - write: relock time
    name: two seconds
    raw: '02'
    expect: {att_error: {equals: out of range}}
  - read: relock time
    name: as before
    expect: {value: {equals: 5 s}}
""",
        ("        value: 5 s\n", "        value: 5 s\n        on_write: {check: false}\n"),
        fails="two seconds",
    ),
    Requirement(
        "the code cannot be read, whatever the table says",
        "lock",
        """
  - read: pin
    name: read the code
    expect: {att_error: {equals: read not permitted}}
""",
        ("characteristic: pin\n        properties: [write]", "characteristic: pin\n        properties: [read, write]"),
        fails="read the code",
        says="none",
    ),
    Requirement(
        "nobody writes the counter of openings",
        "lock",
        """
  - write: openings
    name: set the counter back
    value: 0
    expect: {att_error: {equals: write not permitted}}
""",
        ("{characteristic: openings, properties: [read],", "{characteristic: openings, properties: [read, write],"),
        fails="set the counter back",
    ),
    Requirement(
        "in ship mode it is silent",
        "lock",
        """
  - write: control
    name: ship mode
    raw: '05'
    within: 3 s
    expect: {lost_after: {max: 1 s}}
  - scan:
    name: silence
    for: 30 s
    expect: {heard: {equals: false}}
""",
        ("sleep: 60 s", "sleep: 10 s"),
        fails="silence",
    ),
    Requirement(
        "exactly one opening is counted",
        "lock",
        """
  - read: openings
    save: {value: before}
  - write: pin
    raw: '12 34'
  - exchange: control
    name: open
    raw: '01'
    reply: answer
  - read: openings
    name: openings afterwards
    save: {value: after}
  - compute: {more: '${after - before}'}
    name: one more
    expect: {more: {equals: 1}}
""",
        ("set: {openings: {add: 1}}", "set: {openings: {add: 2}}"),
        fails="one more",
    ),
    Requirement(
        "the motor stops, and the console says so",
        "lock",
        """
  - write: control
    name: run the motor
    raw: '06'
  - console:
    name: motor off
    until: {line: {equals: motor off}}
    within: 5 s
    expect: {reached_after: {max: 1 s}}
""",
        ("then: [{delay: 300 ms, print: 'motor off'}]", "then: [{delay: 300 ms, print: 'motor stalled'}]"),
        fails="motor off",
        says="motor stalled",
    ),
    Requirement(
        "a restart tells its reason",
        "lock",
        """
  - power: cycle
  - console:
    name: boot
    until: {line: {matches: 'boot (?P<version>\\S+) reason=(?P<reason>\\w+)'}}
    within: 5 s
    expect: {version: {equals: 2.0.1}, reason: {equals: power}}
""",
        ("reason=power", "reason=watchdog"),
        fails="boot",
        says="watchdog",
    ),
    Requirement(
        "no line of the console speaks of an error",
        "lock",
        """
  - listen: {console: {}}
    name: the console while the lock works
    steps:
      - write: pin
        raw: '12 34'
      - exchange: control
        name: open
        raw: '01'
        reply: answer
      - write: control
        name: run the motor
        raw: '06'
      - wait: 2 s
    expect: {console.line: {lacks: error}, console.count: {min: 1}}
""",
        ("print: 'motor on'", "print: 'motor on, error 17'"),
        fails="the console while the lock works",
        says="error 17",
    ),
]
