"""What the units of these tests have in common, whatever stack they run; and a plan for them."""

NAME = "ported unit"
# flags, then the complete name (Core Supplement Part A 1.2, 1.3)
ADVERTISEMENT = bytes((2, 1, 6, len(NAME) + 1, 9)) + NAME.encode()
SERVICE = "5f2c0001-3b7d-4a55-9c0e-7d1f5a2b8e10"
VALUE = "5f2c0002-3b7d-4a55-9c0e-7d1f5a2b8e10"
COUNTER = "5f2c0003-3b7d-4a55-9c0e-7d1f5a2b8e10"

PLAN = f"""
plan: a unit on a port
device:
  select: {{name: {NAME}}}
  attributes:
    setting: {{uuid: {VALUE}, as: uint16}}
    counter: {{uuid: {COUNTER}, fields: [{{name: number, as: uint32}}]}}
steps:
  - scan:
    for: 300 ms
    expect: {{address_type: {{matches: public|random}}}}
  - connect:
    within: 5 s
  - read: setting
    within: 2 s
    expect: {{value: {{equals: 1}}}}
  - write: setting
    value: 500
    read_back: true
    expect: {{value: {{equals: 500}}}}
  - notify: counter
    for: 500 ms
    counter: number
    expect: {{count: {{min: 10}}, lost: {{equals: 0}}}}
  - disconnect:
"""
