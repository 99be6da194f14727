"""Every kind of mistake that a plan can have: its exact place, what is said and what is advised.

The mark « stands before the character that the message must point to.
"""

from __future__ import annotations

import pytest

from benchrig.steps.base import Step
from tests.plan.building import HEAD, STEPS, marked, problems_of, where, with_steps

CHOICE = "- ask: colour\n  kind: choice\n  options: [green, red]\n  "
READ = "- read: temperature\n  "


def expect(limit: str) -> str:
    return with_steps(f"- read: temperature\n  expect: {{value: {limit}}}")


def alias(spec: str) -> str:
    return HEAD.rstrip() + f"\n  attributes:\n    level: {spec}\n" + STEPS + "  - read: level\n"


KEYS_AND_WORDS = [
    (f"{HEAD}«stpes:\n  - connect:\n{STEPS}", "unknown key 'stpes'", "did you mean 'steps'?"),
    (HEAD.rstrip() + "\n  attributes:\n    «5: {uuid: 2A19}\n" + STEPS, "expected text as a key, found the number 5", "'5'"),
    (f"{HEAD}given:\n  «5: {{default: 1}}\n{STEPS}", "expected text as a key, found the number 5", "'5'"),
    (with_steps(READ + "«excpect: {}"), "unknown key 'excpect'", "did you mean 'expect'?"),
    (with_steps(READ + "format: {as: uint8, scale: 0,«5}"), "unknown key '5'", "write numbers with a point: 0.5"),
    (with_steps(READ + "format: {as: uint8, scale: 0,«01}"), "the unquoted '01' has leading zeros", "write numbers with a point"),
    (expect("{min: 3 °C, max: 3,«5 °C}"), "unknown key '5 °C'", "write numbers with a point: 0.5"),
    (with_steps(READ + "format: {as: uint8, «01: 5}"), "the unquoted '01' has leading zeros", "drop the zeros"),
    (with_steps("- wait: «12:30"), "is a number in base 60", "or write a time with its unit, for example 750 s"),
    (with_steps("- wait: «'12:30'"), "expected a time with its unit", "write a duration: 750 s (or 750 min)"),
    (with_steps("- exchange: temperature\n  raw: '01'\n  starts_with: «'8'"), "expected bytes as hex text", "a byte: '08'"),
    (f"{HEAD.replace('name', '«nmae')}{STEPS}  - read: temperature", "unknown key 'nmae'", "did you mean 'name'?"),
    (expect("{«mx: 3 °C}"), "unknown key 'mx'", "did you mean 'max'?"),
    (with_steps("- «raed: temperature"), "no verb in this step", "did you mean 'read'?"),
    (with_steps("- «name: only a name"), "no verb in this step", "write one of scan, connect"),
    (with_steps("- «{}"), "no verb in this step", "one of scan, connect"),
    (with_steps("- «{read: temperature, write: temperature}"), "has 'read', 'write'", "make it two steps"),
    (with_steps("- «disconnect"), "expected a step, found the text 'disconnect'", "- disconnect:"),
    (with_steps("- scan:\n    «for: 1 s"), "expected nothing, found a mapping", "align these keys with the key above them"),
    (with_steps("- read: temperature\n  expect:«\n  name: a"), "expected a mapping, found nothing", "indent the lines"),
    (with_steps("- «temperature"), "expected a step, found the text 'temperature'", "for example: - read:"),
    (with_steps(READ + "on_fail: «halt"), "expected one of continue, stop; found the text 'halt'", "choose one of"),
    (with_steps("- scan:\n  mode: «activ"), "expected one of active, passive", "did you mean 'active'?"),
    (f"«device:\n  select: {{name: a}}\n{STEPS}", "the key 'plan' is missing", ""),
    (f"{HEAD}{STEPS}«plan: another", "duplicate key 'plan' (first in line 1)", "keep one of the two"),
    (with_steps(READ + "within: 1 s\n  «within: 2 s"), "duplicate key 'within' (first in line 7)", "keep one"),
    (with_steps(READ + "expect: {«values: {max: 3}}"), "no reading 'values'", "'value'"),
    (with_steps("- repeat: 3\n  name: r\n  steps: [{read: temperature}]\n  expect: {«temperature.value.p95: {max: 4 °C}}"), "no reading 'temperature.value.p95'", "did you mean 'read temperature.value.p95'"),
    (with_steps("- repeat: 3\n  steps: [{read: temperature, name: c}]\n  expect: {«c.value.p101: {max: 4 °C}}"), "no reading 'c.value.p101'", "from p1 to p99"),
    (with_steps(READ + "save: {«valu: x}\n- wait: ${x}"), "no reading 'valu'", "did you mean 'value'"),
]  # fmt: skip

WITHOUT_A_KEY = [
    (with_steps(READ + "expect: {value: «3 °C}"), "expected a mapping, found the text '3 °C'", "write {equals: 3 °C}"),
    (with_steps(READ + "expect: {value: «'it''s'}"), "expected a mapping, found the text", "write {equals: 'it''s'}"),
    (with_steps(READ + "expect: {«min: 3 °C}"), "expected the name of a reading, found 'min'", "write {value: {min: 3 °C}}"),
    (with_steps("- wait: 1 s\n  expect: {«max: 3 s}"), "expected the name of a reading, found 'max'", "{elapsed: {max: 3 s}}"),
    (with_steps(READ + "until: {«min: 3 °C}"), "expected the name of a value, found 'min'", "write {NAME: {min: 3 °C}}"),
    (with_steps("- repeat: 3\n  steps: [wait: 1 s]\n  stop_when: {failed: «3}"), "expected a mapping", "write {equals: 3}"),
    (f"{HEAD}given: {{market: {{one_of: [eu]}}}}\n{STEPS}  - wait: 1 s\n    only_if: {{market: «eu}}\n", "expected a mapping", "write {equals: eu}"),
    (f"{HEAD}given: {{pin: «'25'}}\n{STEPS}  - wait: 1 s\n    name: ${{pin}}\n", "expected a mapping", "write {default: '25'}"),
    (with_steps("- exchange: temperature\n  raw: '01'\n  answers: {last: «FE, skip: 1}"), "expected a mapping", "write {starts_with: FE}"),
]  # fmt: skip

UNTIL = [
    (with_steps(READ + "until: {«valu: {min: 3 °C}}"), "no reading 'valu'", "did you mean 'value'"),
    (with_steps(READ + "until: {«tries: {min: 3}}"), "no reading 'tries'", ""),
    (with_steps(READ + "until: {value: {min: «3}}"), "3 has no unit", "write 3 °C"),
    (with_steps("- read: battery level\n  until: {value: {min: «101 %}}"), "the reading is 0 to 100 %, so nothing could pass", ""),
    (with_steps("- read: battery level\n  until: {value: «{min: -5 %}}"), "so nothing could fail", ""),
    (with_steps(READ + "until: {value: {min: 3 °C}}\n  attempts: «2"), "until tries again already", "take out attempts"),
    (with_steps(READ + "every: «1 s"), "every needs an until", "add until"),
    (with_steps(READ + "until: {value: {min: 3 °C}}\n  every: «6 s"), "every 6 s is longer than the 5 s", "longer within"),
    (with_steps(READ + "until: {value: {min: 3 °C}}\n  every: «0 s"), "every must be more than 0 s", "500 ms"),
    (with_steps(READ + "expect: {reached_after: «{max: 3 s}}"), "'reached_after' needs an until", "add until"),
    (with_steps(READ + "save: {tries: «often}\n- wait: ${often}"), "'tries' needs an until", "add until"),
    (with_steps(READ + "until: {value: {min: 3 °C}}\n  expect: {reached_after: «{min: 7 s}}"), "ends after 5 s", "within: 7 s"),
    (with_steps("- notify: temperature\n  until: {«count: {min: 3}}"), "no reading 'count'", ""),
]  # fmt: skip

TYPES = [
    (f"plan: «5\n{HEAD.partition(chr(10))[2]}{STEPS}", "expected text, found the number 5", "quote it: '5'"),
    (f"{HEAD}steps: «5", "expected a list of steps, found the number 5", ""),
    (f"{HEAD}steps:«\n", "expected a list of steps, found nothing", ""),
    ("«[]", "expected a mapping with plan, device, devices, steps", ""),
    ("«text", "expected a mapping with plan, device, devices, steps", ""),
    (HEAD.replace("name: 'unit*'", "manufacturer: {company: «FFFF}") + STEPS, "a whole number, found the text 'FFFF'", "write 0xFFFF"),
    (with_steps("- exchange: temperature\n  raw: «01"), "the unquoted '01' has leading zeros", "quote it: '01'"),
    (with_steps("- write: manufacturer data\n  format: {as: hex}\n  value: «0x112233"), "expected bytes as hex text", "'112233'"),
    (with_steps(READ + "attempts: «two"), "expected a whole number, found the text 'two'", ""),
    (with_steps(READ + "attempts: «1.5"), "expected a whole number, found the number 1.5", ""),
    (with_steps(READ + "expect: «[]"), "expected a mapping, found a list", ""),
    (with_steps("- write: alert level\n  raw: '01'\n  response: «1"), "expected true or false, found the number 1", ""),
    (with_steps(READ + "name: «[a]"), "expected text, found a list", ""),
    (with_steps("- command: «ls -l"), "expected a list, found the text 'ls -l'", ""),
    (with_steps("- «write: temperature"), "a write needs either value, raw or file", ""),
    (with_steps("- write: temperature\n  raw: «0x"), "expected bytes as hex text", ""),
    (with_steps("- write: temperature\n  value: «warm"), "expected a number", ""),
    (with_steps("- discover: «now"), "expected nothing, found the text 'now'", ""),
    (with_steps(READ + "expect: {att_error: {equals: «5}}"), "expected text, found the number 5", "quote it: '5'"),
    (with_steps("- call: «nothing"), "expected module:function, found 'nothing'", ""),
    (f"{HEAD}revision: «[1]\n{STEPS}", "expected a number or text, found a list", ""),
]  # fmt: skip

UNITS = [
    (with_steps(READ + "within: «5"), "expected a time with its unit, found the number 5", "for example: 5 s"),
    (with_steps(READ + "within: «5 °C"), "expected a time with its unit, found a temperature (5 °C)", "5 s"),
    (with_steps(READ + "within: «5 sec"), "unknown unit 'sec'", ""),
    (with_steps(READ + "within: «-5 s"), "a time of -5 s is negative", ""),
    (with_steps(READ + "within: «0 s"), "within must be more than 0 s", ""),
    (with_steps("- wait: «" + "9" * 41 + " s"), "expected a time with its unit", "for example: 5 s"),
    (expect("{max: «30}"), "30 has no unit; the reading is measured in °C", "write 30 °C"),
    (with_steps(READ + "format: {as: uint16, unit: mV}\n  expect: {value: {min: «3}}"), "3 has no unit", "write 3 mV or 3 V, as you mean it"),
    (expect("{max: «30 C}"), "30 C is a charge", "units of temperature: °C, K, °F; C is the coulomb: write °C"),
    (with_steps(READ + "format: {as: sint16, unit: C}\n  expect: {value: {max: «30 °C}}"), "30 °C is a temperature, not a charge", "C is the coulomb"),
    (expect("{max: «30 %}"), "30 % is a ratio, not a temperature", "units of temperature: °C, K, °F"),
    (expect("{max: «30 °c}"), "unknown unit '°c'", "did you mean '°C'?"),
    (expect("{nominal: 20 °C, tolerance: «1 s}"), "1 s is a time, not a difference of temperature", "°C, K, °F"),
    (expect("{max: «warm}"), "expected a number with its unit, found the text 'warm'", ""),
    (with_steps(READ + "expect: {length: {equals: «2}}"), "2 has no unit; the reading is measured in bytes", "write 2 bytes"),
    (with_steps("- scan:\n  expect: {count: {min: «3 s}}"), "3 s has a unit, the reading has none", "write 3"),
    (with_steps("- scan:\n  expect: {rssi: {nominal: -60 dBm, tolerance: «3 s}}"), "not a difference of level", "units of gain: dB"),
    (with_steps("- write: temperature\n  value: «8"), "8 has no unit", "write 8 °C"),
    (with_steps("- write: temperature\n  value: «8 V"), "8 V is a voltage, not a temperature", "°C"),
]  # fmt: skip

RANGES = [
    (with_steps(CHOICE + "expect: {answer: {equals: «blue}}"), "the reading is never 'blue'", "choose one of: green, red"),
    (with_steps(CHOICE + "expect: {answer: {one_of: [red, «gren]}}"), "the reading is never 'gren'", "did you mean 'green'?"),
    (expect("{min: «30 °C, max: 15 °C}"), "min 30 °C is above max 15 °C, so nothing could pass", ""),
    (expect("{nominal: 9 °C, tolerance: 1 °C, min: «20 °C}"), "min 20 °C is above max 10 °C", ""),
    (expect("{nominal: 9 °C, tolerance: «-1 °C}"), "a tolerance cannot be negative", ""),
    (expect("{nominal: «9 °C}"), "nominal without tolerance", "add tolerance"),
    (expect("{tolerance: «9 °C}"), "tolerance without nominal", "add nominal"),
    (expect("{one_of: «[]}"), "one_of is empty, so nothing could pass", ""),
    (expect("{min: 1 °C, above: «2 °C}"), "min and above bound the same side", "keep one of the two"),
    (expect("{max: 1 °C, below: «2 °C}"), "max and below bound the same side", "keep one of the two"),
    (expect("{rising: «false}"), "rising: false requires nothing", "write rising: true"),
    (expect("{rising: «true}"), "'value' is one value: rising needs the samples of a stream", "above: '${before}'"),
    (expect("{above: «1 °C, max: 1 °C}"), "above 1 °C and max 1 °C exclude each other", "widen one"),
    (expect("{above: «327.67 °C}"), "so nothing could pass", "write a limit within"),
    (expect("«{above: 1 °C, below: 1.01 °C}"), "has no value above 1 °C and below 1.01 °C, so nothing", "widen"),
    (expect("{differs: «0.001 °C}"), "the reading is never that: ", "write the nearest"),
    (expect("{crc: «CRC-16/KERMIT}"), "'crc' does not apply to a reading that is a number", "write one of"),
    (expect("{crc: «{name: {a: 1}}}"), "unknown CRC '{'a': 1}'", "for example"),
    (expect("{crc: «CRC-16/KERMITT}"), "unknown CRC 'CRC-16/KERMITT'", "did you mean 'CRC-16/KERMIT'"),
    (expect("{crc: {name: CRC-16/KERMIT, order: «up}}"), "expected little or big, found the text 'up'", "write order: big"),
    (expect("«{}"), "an empty limit", "at least one of equals, differs, min"),
    (expect("{bits: {mask: 1, value: «2}}"), "the value 0x2 has bits outside the mask 0x1", ""),
    (expect("{bits: {mask: «0, value: 0}}"), "the mask selects no bit", ""),
    (expect("{matches: «'2.*'}"), "'matches' does not apply to a reading that is a number", "write one of: equals, differs, min, above"),
    (with_steps("- read: manufacturer name\n  expect: {value: {length: «{min: 3, max: 1}}}"), "min 3 is above max 1", ""),
    (with_steps("- read: manufacturer name\n  expect: {value: {matches: «'(a'}}"), "'(a' is not a regular expression", ""),
    (with_steps("- read: manufacturer name\n  expect: {value: {matches: «'(?=a)b'}}"), "has a look-ahead", "write the whole text"),
    (with_steps(READ + "attempts: «0"), "attempts must be from 1 to 100, not 0", ""),
    (with_steps("- notify: temperature\n  count: «0"), "count must be at least 1", ""),
    (with_steps("- «notify: temperature"), "notify has neither for (a time) nor count", "for: 10 s"),
    (with_steps("- «notify: temperature\n  for: 1 s\n  count: 3"), "notify has both for and count", "keep one"),
    (with_steps("- notify: temperature\n  for: 5 s\n  within: «2 s"), "within 2 s is too short to subscribe and listen for 5 s", ""),
    (with_steps("- wait: 3 s\n  within: «2.5 s"), "within 2.5 s ends before the wait of 3 s is over", "3 s or more"),
    (with_steps(READ + "expect: {att_error: {equals: «raed not permitted}}"), "unknown ATT error", "read not perm"),
    (with_steps("- scan:\n  expect: {address_type: {one_of: [public, «rnadom]}}"), "is never 'rnadom'", "'random'?"),
    (f"{HEAD}deadline: «0 s\n{STEPS}", "deadline must be more than 0 s", ""),
    (f"{HEAD}given: {{a: {{min: «3, max: 1}}}}\n{STEPS}    name: ${{a}}\n", "min 3 is above max 1", ""),
    (f"{HEAD}given: {{a: {{min: 3, matches: «a}}}}\n{STEPS}    name: ${{a}}\n", "'matches' does not apply", ""),
    (f"{HEAD}given: {{a: {{min: 3, default: «1}}}}\n{STEPS}    name: ${{a}}\n", "the default: 1 is below the minimum 3", ""),
    (f"{HEAD}given: {{a: {{min: 3, default: «[5]}}}}\n{STEPS}    name: ${{a}}\n", "the default: '[5]' is not a number", ""),
    (HEAD.replace("{name", "«{rssi_min: -70 dBm} #") + STEPS, "an empty selection would take any device", "name, services"),
    (HEAD.replace("name: 'unit*'", "manufacturer: {company: «0x10000}") + STEPS, "has 16 bits, 65536 has more", ""),
]  # fmt: skip

ATTRIBUTES = [
    (with_steps("- read: «temprature"), "unknown attribute 'temprature'", "did you mean 'temperature'"),
    (with_steps("- read: «batery service/battery level"), "unknown attribute 'batery service'", ""),
    (with_steps("- read: «2902"), "the UUID 2902 is written as a decimal number", "write 0x2902 or '2902'"),
    (with_steps("- read: «temperature[x]"), "'temperature[x]' is not the name of an attribute", "temperature[1]"),
    (with_steps("- read: «[temperature]"), "expected the name of an attribute", ""),
    (alias("{uuid: «2902, as: uint8}"), "the UUID 2902 is written as a decimal number", "write 0x2902 or '2902'"),
    (alias("{uuid: «6b1d0002-9a53, as: uint8}"), "'6b1d0002-9a53' is not a UUID", "for example: 0x2A6E"),
    (alias("{uuid: «0x12A6E, as: uint8}"), "76398 is not a 16-bit UUID", "full form"),
    (alias("{uuid: 0x2A6E, as: «uint33}"), "unknown format 'uint33'", "did you mean 'uint3"),
    (alias("{uuid: 0x2A6E, as: uint8, unit: «hour}"), "unknown unit 'hour'", ""),
    (alias("{uuid: 0x2A6E, as: uint8, scale: «'1/0'}"), "divides by zero", ""),
    (alias("{uuid: 0x2A6E, as: uint8, service: «batery service}"), "unknown service 'batery service'", "did you mean 'battery service'"),
    (alias("«{as: uint8}"), "an attribute needs either its uuid or its handle", ""),
    (alias("{handle: «0x10000, as: uint8}"), "a handle is from 0x0001 to 0xFFFF, not 65536", ""),
    (alias("{uuid: 0x2A6E, index: «-1}"), "index counts from 0, -1 is below", ""),
    (alias("{uuid: 0x2A6E}").replace("level: ", "a/b: «").replace("read: level", "read: temperature"), "the name 'a/b' has a '/' or '['", ""),
    (HEAD.replace("name: 'unit*'", "services: [«batery service]") + STEPS, "unknown service 'batery service'", "did you mean 'battery service'"),
    (HEAD.replace("name: 'unit*'", "services: [«6159]") + STEPS, "the UUID 6159 is written as a decimal number", "write 0x6159 or '6159'"),
    (with_steps("- discover:\n  expect: {table: «{batery: {}}}"), "unknown service 'batery'", "did you mean 'battery'"),
    (with_steps("- discover:\n  expect: {table: {battery: {battery level: [«raed]}}}"), "unknown property 'raed'", "'read'"),
    (with_steps("- discover:\n  expect: {table: {«1802: {}}}"), "the UUID 1802 is written as a decimal number", "0x1802"),
    (with_steps("- discover:\n  expect: {table: {battery: {«2902: []}}}"), "written as a decimal number", "0x2902"),
    (with_steps("- notify: temperature\n  for: 1 s\n  «sequence: value"), "unknown key 'sequence'", "write 'counter'"),
    (with_steps("- exchange: temperature\n  raw: '01'\n  «answer: humidity"), "unknown key 'answer'", "write 'reply'"),
    (with_steps("- ask: Is it on?\n  «answer: text"), "unknown key 'answer'", "write 'kind'"),
    (with_steps("- ask: Is it on?\n  «from: lamp"), "unknown key 'from'", "write 'given'"),
    (alias("{uuid: 0x2A6E, fields: [{name: a, as: uint8, «repeat: true}]}"), "unknown key 'repeat'", "write 'list'"),
    (with_steps("- notify: temperature\n  for: 1 s\n  counter: «number"), "no field 'number' to count by", "counter: value"),
]  # fmt: skip

VARIABLES = [
    (with_steps("- wait: «${pause}"), "nothing before this step gives 'pause' a value", "name it under given:"),
    (with_steps("- wait: ${low}\n- wait: «${lo}", "given: {low: {default: 1 s}}\n"), "gives 'lo'", "'low'"),
    (with_steps(READ + "only_if: {«markt: {equals: eu}}", "given: {market: {one_of: [eu, us], default: eu}}\n"), "gives 'markt' a value", "'market'"),
    (with_steps("- wait: «${paus}", "given: {pause: {default: 1 s}}\n"), "gives 'paus' a value", "'pause'"),
    (with_steps(READ + "save: {value: v}\n- compute: {x: «'${v + 2}'}"), "a number without a unit and v (a temperature in °C) are", "write the unit"),
    (with_steps("- wait: «${t}\n" + READ + "save: {value: t}"), "nothing before this step gives 't' a value", ""),
    (with_steps("- discover:", "given: {«serial: {}}\n"), "the given value 'serial' is not used", "use it as ${serial}"),
    (with_steps(READ + "save: {value: «t}"), "the saved value 't' is not used", "take it out"),
    (with_steps(READ + "save: {value: «low}\n- wait: ${low}", "given: {low: {default: 1 s}}\n"), "'low' is a given value already", ""),
    (with_steps(READ + "save: {value: «my value}\n- wait: ${my value}"), "'my value' cannot be the name of a value", "use letters, digits and _"),
    (HEAD.replace("'unit*'", "«'${who}'") + STEPS, "no value is given as 'who'", ""),
    (with_steps("- ask: Is it on?\n  given: «is_on"), "no value is given as 'is_on'", ""),
    (f"plan: «${{x}}\n{HEAD.partition(chr(10))[2]}{STEPS}", "${x} is not allowed here", "in steps and in device: select"),
    (f"{HEAD}caution: «${{x}}\n{STEPS}", "${x} is not allowed here", ""),
    (f"{HEAD}given: «${{x}}\n{STEPS}", "${x} is not allowed here", ""),
    (f"{HEAD}deadline: «${{x}}\n{STEPS}", "${x} is not allowed here", ""),
    (f"plan: a\ndevice: «${{x}}\n{STEPS}", "${x} is not allowed here", ""),
    (alias("{uuid: «'${x}'}"), "${x} is not allowed here", ""),
    (HEAD + "steps: «${x}", "expected a list of steps", ""),
]  # fmt: skip

STRUCTURE = [
    (with_steps("- «reboot:\n  within: 9 s"), "the key 'steps' is missing", "add steps"),
    (HEAD + "devices: «{a: {select: {name: b}}}\n" + STEPS, "the plan has both device and devices", "keep one"),
    ("«steps: [{read: temperature}]", "this is a file of steps for 'use', not a plan", "name the plan that uses it"),
    ("«attributes: {level: {uuid: 2A19}}", "this is a file of names, not a plan", "device: {select: …, use: FILE}"),
    ("«", "is empty", "write at least 'plan:', 'device:' and 'steps:'"),
    ("«# only a comment\n", "is empty", "write at least 'plan:', 'device:' and 'steps:'"),
    (f"{HEAD}steps: «[]\n", "the plan has no steps", ""),
    (f"{HEAD}steps: «[]\nfinally:\n  - connect:\n", "the plan has no steps", ""),
    (with_steps("- connect:\n  name: «&x a"), "anchors and aliases are not read", "write the value"),
    (with_steps("- connect:\n  name: «*x"), "anchors and aliases are not read", "quote text that begins with *: '*x'"),
    (HEAD.replace("'unit*'", "«*lock") + STEPS, "anchors and aliases are not read", "'*lock'"),
    (HEAD.replace("'unit*'", "*lock«*") + STEPS, "not valid YAML", "quote text that begins with * or &"),
    (with_steps("- exchange: temperature\n  raw: «'10 12\n  within: 1 s"), "a quote opens here, and nothing closes it", "close the quote"),
    (with_steps("- read:«temperature\n  within: 1 s"), "no blank after 'read:'", "write a blank: read: temperature"),
    (with_steps("- read: temperature\n  within:«1 s\n  attempts: 2"), "no blank after 'within:'", "within: 1 s"),
    (with_steps("- connect:\n  name: «!!str 5"), "the tag 'tag:yaml.org,2002:str' is not read", "leave it out"),
    (with_steps("- connect:\n  name: «!own a"), "the tag '!own' is not read", "leave it out"),
    (with_steps("- connect:\n«\tname: a"), "a tab character", "indent with spaces"),
    (f"{HEAD}{STEPS}«---\nplan: b\n", "a second document in one file", "put it into a separate file"),
    ("plan: " + "[" * 31 + "«[" + "]" * 32, "is nested more than 32 levels deep", ""),
    (f"{HEAD}{STEPS}? «[a]\n: b\n", "a key must be text, found a list or a mapping", ""),
    (f"{HEAD}{STEPS}  «]\n", "not valid YAML", ""),
    ("plan: a«\u2028b\n", "the character U+2028 ends the line for some readers of YAML", r"write '\u2028'"),
    (with_steps("- connect:\n  name: «no"), "the unquoted 'no' is true or false to some readers", "quote it"),
    (with_steps("- connect:\n  within: 1 s\n  name: «2026-01-31"), "is a date to some readers of YAML", "quote it"),
    (with_steps("- read: «6e40"), "looks like a number with an exponent", "a UUID: '6e40' or 0x6e40"),
]  # fmt: skip

ALL = {
    "without a key": WITHOUT_A_KEY,
    "keys": KEYS_AND_WORDS, "until": UNTIL, "types": TYPES, "units": UNITS, "ranges": RANGES, "attributes": ATTRIBUTES,
    "variables": VARIABLES, "structure": STRUCTURE,
}  # fmt: skip
CASES = [pytest.param(*case, id=f"{kind}-{case[1][:40]}") for kind, cases in ALL.items() for case in cases]


@pytest.mark.parametrize(("text", "message", "advice"), CASES)
def test_mistake_is_named_at_its_place(text, message, advice):
    text, place = marked(text)
    problem = next((p for p in problems_of(text) if message in p.message), problems_of(text)[0])
    assert (message in problem.message, where(problem)) == (True, place), problem
    assert advice in problem.advice


@pytest.mark.parametrize(("text", "message", "advice"), CASES)
def test_one_mistake_is_one_problem(text, message, advice):
    assert len(problems_of(marked(text)[0])) == 1


@pytest.mark.parametrize("text", dict.fromkeys(case.values[0] for case in CASES))
def test_every_mistake_says_what_to_do(text):
    assert [problem.message for problem in problems_of(marked(text)[0]) if not problem.advice] == []


def test_a_refused_number_in_an_included_file_is_told_once():
    part = "steps:\n  - read: battery level\n    attempts: 03\n"
    [problem] = problems_of(with_steps("- use: part.yaml"), part=part)
    assert "has leading zeros" in problem.message


def test_what_is_wrong_with_names_is_told_beside_a_bad_selection():
    text = (
        "plan: p\ndevice:\n  select: {nmae: VFL-*}\n  attributes: {a/b: {uuid: 0x2A6E}}\nsteps:\n"
        "  - scan:\n  - connect:\n  - read: temperature\n    save: {value: t}\n"
    )
    said = [problem.message for problem in problems_of(text)]
    assert said == [
        "unknown key 'nmae'",
        "the name 'a/b' has a '/' or '['",
        "the saved value 't' is not used",
    ]


# The other keys of every step take no reference for the whole of them.
TAKE_NONE = {"save", "only_after", "only_if", "device", "proves"}


@pytest.mark.parametrize("key", [key for key in Step.__struct_fields__ if key not in {*TAKE_NONE, "expect"}])
def test_a_reference_in_a_key_of_every_step_leaves_its_readings_known(key):
    steps = f"{READ}save: {{value: t}}\n{READ}{key}: ${{t}}\n  expect: {{vaule: {{min: 3 °C}}}}"
    said = [problem.message for problem in problems_of(with_steps(steps))]
    assert said == ["a read step has no reading 'vaule'"], f"'{key}' is a field of Step: none may decide what is read"


def test_many_mistakes_on_one_long_line_take_no_square_of_time():
    readings = ", ".join(f"no_{number}: {{max: 1}}" for number in range(5000))
    problems = problems_of(with_steps(f"- read: battery level\n  expect: {{{readings}}}"))
    assert len(problems) == 5000
    assert max(len(str(problem)) for problem in problems) < 1000
