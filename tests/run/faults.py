"""One run for each fault of the table in the reference, by its name there."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from benchrig.station.station import Station
from tests.run.kit import HEAD, REACH, device_text, plan_text

OWN = "7b1f{:04x}-4d1e-4b6f-9a57-2f3c1de0a001"
NAMES = f"""
    limit: {{uuid: {OWN.format(2)}, as: sint16, scale: 0.01, unit: °C, words: {{0x7FFF: not known}}}}
    deaf: {{uuid: {OWN.format(3)}, as: uint8}}
    secret: {{uuid: {OWN.format(4)}, as: hex}}
    silent: {{uuid: {OWN.format(5)}, as: uint8}}
    stream: {{uuid: {OWN.format(6)}, fields: [{{name: flags, as: uint8}}, {{name: number, as: uint8, when: 0x01}}]}}
    quiet: {{uuid: {OWN.format(7)}, as: uint8}}
    command: {{uuid: {OWN.format(8)}, as: hex}}
    locked: {{uuid: {OWN.format(9)}, as: uint8}}
    restart: {{uuid: {OWN.format(10)}, as: uint8}}
    leave: {{uuid: {OWN.format(11)}, as: uint8}}
    short: {{uuid: {OWN.format(12)}, as: uint32}}
    skips: {{uuid: {OWN.format(13)}, as: uint8}}
    stops: {{uuid: {OWN.format(14)}, as: uint8}}
    once: {{uuid: {OWN.format(15)}, as: uint8}}
    share: {{uuid: {OWN.format(16)}, as: uint4}}
    unknown: {{uuid: {OWN.format(2)}, as: sint16, scale: 0.01, unit: °C, words: {{500: not known}}}}
"""


def _one(number: int, rest: str) -> str:
    return f"      - {{characteristic: {OWN.format(number)}, {rest}}}"


SERVICES = "\n".join(
    [
        "services:",
        "  - service: battery",
        "    characteristics:",
        "      - {characteristic: battery level, properties: [read], value: 97 %}",
        "  - service: environmental sensing",
        "    characteristics:",
        "      - {characteristic: temperature, name: shelf, properties: [read], value: 4 °C}",
        "      - {characteristic: temperature, name: door, properties: [read], value: 5 °C}",
        "      - {characteristic: humidity, as: uint16, properties: [read], value: 20000}",
        f"  - service: {OWN.format(1)}",
        "    characteristics:",
        _one(2, "as: sint16, properties: [read, write], value: 500"),
        _one(3, "as: uint8, properties: [read, write], value: 7, on_write: {store: false}"),
        _one(4, "as: hex, properties: [read, write], value: '00', on_read: {att_error: read not permitted}, "
                "on_write: {att_error: 0x80}"),
        _one(5, "as: uint8, properties: [read], value: 0, on_read: {silent: true}"),
        _one(6, "as: hex, properties: [notify], value: {sequence: ['01 05', '01 06', '00']}, notify: {period: 50 ms}"),
        _one(7, "as: uint8, properties: [notify], value: 0, notify: {period: 1 h}"),
        _one(8, "as: hex, properties: [write, write without response, notify], value: '00', on_write: {store: false}"),
        _one(9, "as: uint8, properties: [read], value: 0, encrypted: true"),
        _one(10, "as: uint8, properties: [write], value: 0, on_write: {reboot: 3 s}"),
        _one(11, "as: uint8, properties: [write], value: 0, on_write: {disconnect: true}"),
        _one(12, "as: hex, properties: [read, notify], value: '01', notify: {period: 50 ms}"),
        _one(13, "as: uint8, properties: [notify], value: {sequence: [1, 2, 4, 5]}, notify: {period: 50 ms}"),
        _one(14, "as: uint8, properties: [notify], value: {counter: {}}, notify: {period: 50 ms, count: 5}"),
        _one(15, "as: uint8, properties: [notify], value: 0, notify: {period: 50 ms, count: 1}"),
        _one(16, "as: uint4, properties: [write], value: 0"),
    ]
)  # fmt: skip
MODULE = """
import asyncio, time
from benchrig.errors import StationError, StepFailed
def seven(bench): return 7
def no_value(bench): return {'chamber': None}
def nothing(bench): pass
def asserts(bench): assert 1 == 2, 'one is not two'
def fails(bench): raise StepFailed('the relay did not click')
def cannot(bench): raise StationError('the chamber is switched off')
def broken(bench): return 1 / 0
def odd(bench): return {1, 2}
def hangs(bench): time.sleep(20)
async def waits(bench): await asyncio.sleep(100)
not_a_function = 7
"""


class Answers:
    """An operator with one answer for everything; without one he never answers."""

    def __init__(self, answer: Any = None) -> None:
        self.answer = answer

    async def acknowledge(self, caution: str) -> str:
        return "by a test"

    async def confirm(self, question: str) -> bool:
        return bool(await self._answer())

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return str(await self._answer())

    async def choose(self, question: str, options: list[str]) -> str:
        return str(await self._answer())

    async def _answer(self) -> Any:
        if self.answer is None:
            await asyncio.sleep(100)
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


@dataclass
class Fault:
    """What a run of it needs."""

    plan: str
    devices: list[str]
    files: dict[str, str] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)


def on_unit(step: str, *before: str, **more: Any) -> Fault:
    """Steps on a sound connection to the unit that has everything."""
    steps = "".join(f"  - {text}\n" for text in (*before, step))
    return Fault(plan_text(steps, attributes=NAMES), [device_text(SERVICES)], {}, more)


def alone(step: str, head: str = "", **more: Any) -> Fault:
    """A step that needs no unit."""
    return Fault(f"{HEAD}{head}steps:\n  - {step}\n", [], {"rig.py": MODULE, "broken_rig.py": "1 / 0\n"}, more)


def unit(step: str, *devices: str, reach: str = REACH, **more: Any) -> Fault:
    """Steps on the devices."""
    return Fault(plan_text(f"  - {step}\n" if step else "", reach=reach), [*devices], {}, more)


def interrupts(runner: Runner, event: AnyEvent) -> None:
    if isinstance(event, Opened) and event.where.node == "3":
        asyncio.get_running_loop().call_later(1, runner.interrupt)


def paired(step: str, security: str, *after: str, **more: Any) -> Fault:
    """A pairing with a unit that has this security; it can be told to forget its bonds."""
    steps = "".join(f"  - {text}\n" for text in (step, *after))
    forget = "services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read, write], value: 9 %, on_write: {delete_bonds: true}}]}]"
    return Fault(plan_text(steps), [device_text(forget, more=f"security: {security}")], {}, more)


BONDED = "\n    expect: {bonded: {equals: true}}"
PASSKEY = "pair: keyboard\n    passkey: '042517'" + BONDED
SHOWS = "{capability: display, passkey: '042517'"
FORGETS = "unpair:\n    steps: [{write: battery level, value: 1 %}]"
BATTERY = "read: battery level\n    expect: {value: {min: 50 %}}"
SOUND = device_text(SERVICES)
SCAN = "steps:\n  - scan:\n    for: 300 ms\n"

FAULTS: dict[str, Callable[[], Fault]] = {
    # limit
    "a value outside its limit": lambda: on_unit("read: battery level\n    expect: {value: {max: 50 %}}"),
    "a word where a number is limited": lambda: on_unit("read: unknown\n    expect: {value: {max: 50 °C}}"),
    "an answer that takes too long": lambda: on_unit("read: battery level\n    expect: {elapsed: {max: 1 ms}}"),
    "a field that is not in the value": lambda: on_unit("read: short\n    format: {fields: [{name: flags, as: uint8}, {name: number, as: uint8, when: 0x02}]}\n    expect: {value.number: {min: 1}}"),
    "a gap in a sequence": lambda: on_unit("notify: skips\n    count: 4\n    counter: value\n    expect: {lost: {equals: 0}}"),
    "a counter that is not in every value": lambda: on_unit("notify: stream\n    count: 4\n    counter: number\n    expect: {lost: {equals: 0}}"),
    "a stream that stops": lambda: on_unit("notify: stops\n    for: 5 s\n    expect: {rate: {min: 15 Hz}}"),
    "a stream that never comes": lambda: on_unit("notify: quiet\n    for: 1 s", BATTERY),
    "too few notifications": lambda: on_unit("notify: stops\n    count: 9", BATTERY),
    "one notification where a rate is limited": lambda: on_unit("notify: once\n    for: 1 s\n    expect: {rate: {max: 1 kHz}}"),
    "a refusal that does not come": lambda: on_unit("read: battery level\n    expect: {att_error: {equals: read not permitted}}"),
    "a characteristic that the expected table has": lambda: on_unit("discover:\n    expect: {table: {battery: {battery level: [], humidity: []}}}"),
    "other properties than those of the expected table": lambda: on_unit("discover:\n    expect: {table: {battery: {battery level: [read, notify]}}}"),
    "another advertised name": lambda: unit("", SOUND, reach=f"{SCAN}    expect: {{name: {{equals: unit 2}}}}\n"),
    "an advertised value that is missing": lambda: unit("", SOUND, reach=f"{SCAN}    expect: {{tx_power: {{min: 0 dBm}}}}\n"),
    "a level below its limit": lambda: unit("", SOUND, reach=f"{SCAN}    expect: {{rssi: {{min: 0 dBm}}}}\n"),
    "the operator's no": lambda: alone("ask: Green?\n    expect: {answer: {equals: true}}", operator=Answers(False)),
    "an exit code outside its limit": lambda: alone("command: [sh, -c, exit 3]\n    expect: {exit_code: {equals: 0}}"),
    "an output outside its limit": lambda: alone("command: [echo, red]\n    expect: {output: {equals: green}}"),
    "a function that returns a value outside its limit": lambda: alone("call: rig:seven\n    expect: {value: {max: 6}}"),
    "a function that returns none for a limited value": lambda: alone("call: rig:no_value\n    expect: {chamber: {max: 22 °C}}"),
    "a line of the console that never comes": lambda: on_unit("console:\n    until: {line: {matches: ready}}\n    within: 1 s"),
    "a failed assert of a function": lambda: alone("call: rig:asserts"),
    "a StepFailed of a function": lambda: alone("call: rig:fails"),
    "a link that must end and lasts": lambda: on_unit("wait: 1 s\n    expect: {lost_after: {max: 1 s}}"),
    "a unit that is heard where it must be silent": lambda: on_unit("scan:\n    for: 1 s\n    expect: {heard: {equals: false}}", "disconnect:"),
    "a unit that is back on the air too early": lambda: on_unit("connect:\n    expect: {advertises_after: {min: 5 s}}", "write: restart\n    value: 1\n    expect: {lost_after: {max: 3 s}}"),
    "an advertised value that is never there": lambda: unit("", SOUND, reach=f"{SCAN}    within: 2 s\n    until: {{name: {{equals: unit 2}}}}\n"),
    "a restart that does not happen": lambda: on_unit("reboot:\n    within: 1 s\n    steps: [{write: deaf, value: 1}]"),
    "a unit that pairs where it has to refuse": lambda: paired("pair:\n    key_size: 7\n    expect: {failure: {equals: encryption key size}}", "{}"),
    "numbers of a comparison that differ": lambda: paired("pair: yes/no\n    number: '042517'" + BONDED, "{capability: yes/no}"),
    "a pairing that is weaker than its limit": lambda: paired("pair: keyboard\n    passkey: '042517'\n    expect: {authenticated: {equals: true}}", "{capability: none}"),
    "a bond that a limit wants gone": lambda: paired(PASSKEY, SHOWS + ", faults: {keeps_bonds: true}}", FORGETS + "\n    expect: {old_key: {equals: no key}}"),
    # device
    "an ATT error that nobody expected": lambda: on_unit("read: secret", BATTERY),
    "a write that is refused": lambda: on_unit("write: secret\n    raw: '01'", BATTERY),
    "a command that is refused": lambda: on_unit("exchange: secret\n    raw: '01'\n    reply: command", BATTERY),
    "a request without an answer": lambda: on_unit("read: silent\n    within: 2 s", BATTERY),
    "a command without an answer": lambda: on_unit("exchange: command\n    raw: '01'\n    within: 2 s", BATTERY),
    "an attribute that is missing": lambda: on_unit("read: serial number", BATTERY),
    "a handle that is missing": lambda: on_unit("read: handle 0x0FFF", BATTERY),
    "a property that is missing": lambda: on_unit("notify: battery level\n    for: 1 s", BATTERY),
    "a name that fits two attributes": lambda: on_unit("read: temperature", BATTERY),
    "a value that is too short for its format": lambda: on_unit("read: short", BATTERY),
    "a value outside the legal range": lambda: on_unit("read: humidity", BATTERY),
    "a malformed notification": lambda: on_unit("notify: short\n    for: 1 s", BATTERY),
    "a word of the console where a number is limited": lambda: unit("console:\n    until: {line: {matches: 't=(?P<t>.*)'}}\n    expect: {t: {max: 3}}", device_text(SERVICES, more="on_connect: [{print: t=hot}]")),
    "a value that is not kept": lambda: on_unit("write: deaf\n    value: 1\n    read_back: true", BATTERY),
    "a unit that refuses to pair": lambda: paired("pair:" + BONDED, "{bondable: false}"),
    "a wrong passkey": lambda: paired("pair: keyboard\n    passkey: '000001'" + BONDED, SHOWS + "}"),
    "a wrong passkey that the unit does not notice": lambda: paired("pair: keyboard\n    passkey: '000001'\n    expect: {failure: {equals: confirm value failed}}", SHOWS + ", faults: {unchecked: true}}"),
    "a unit that falls silent in a pairing": lambda: paired("pair:" + BONDED, "{faults: {silent_at: public key}}"),
    "a unit that has lost its key": lambda: paired("pair:" + BONDED, "{faults: {forgets_bonds: disconnection}}", "disconnect:", "connect:", "encrypt:"),
    "a bond that is still there": lambda: paired(PASSKEY, SHOWS + ", faults: {keeps_bonds: true}}", FORGETS),
    "a new pairing that is refused": lambda: paired(PASSKEY, SHOWS + ", faults: {refuses_after_deletion: true}}", FORGETS),
    "an attribute that wants encryption": lambda: on_unit("read: locked", BATTERY),
    "a stream that wants encryption": lambda: unit("notify: battery level\n    for: 1 s", device_text("services: [{service: battery, characteristics: [{characteristic: battery level, properties: [notify], subscribe_needs: encrypted, value: 9 %, notify: {period: 1 s}}]}]")),
    "an attribute that wants encryption beside its bond": lambda: Fault(plan_text("  - pair:" + BONDED + "\n  - disconnect:\n  - connect:\n  - read: battery level\n", reach=REACH), [device_text("services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], read_needs: encrypted, value: 9 %}]}]", more="security: {}")]),
    # link
    "a link that is lost in a pairing": lambda: paired("pair:" + BONDED, "{faults: {disconnects_at: public key}}"),
    "a unit that is not on the air": lambda: unit(BATTERY),
    "a unit that falls silent": lambda: unit(BATTERY, device_text(SERVICES, more="faults: {stop_advertising_after: 10 ms}")),
    "a unit that takes no connection": lambda: unit(BATTERY, device_text(SERVICES, more="faults: {refuse_connections: 9}"), reach=SCAN + "  - connect:\n    within: 3 s\n"),
    "a unit that takes no connection in all attempts": lambda: unit(BATTERY, device_text(SERVICES, more="faults: {refuse_connections: 9}"), reach=SCAN + "  - connect:\n    within: 6 s\n    attempts: 2\n"),
    "a link that breaks while nothing is asked": lambda: unit("wait: 3 s", device_text(SERVICES, more="faults: {disconnect_after: 1 s}")),
    "a link that breaks in a stream": lambda: Fault(plan_text("  - notify: stops\n    for: 3 s\n", attributes=NAMES), [device_text(SERVICES, more="faults: {disconnect_after: 1 s}")]),
    "a unit that ends the link": lambda: on_unit("wait: 3 s", "write: leave\n    value: 1"),
    "a unit that restarts": lambda: on_unit("wait: 20 s", "write: restart\n    value: 1"),
    "a unit that does not come back from a restart": lambda: on_unit("reboot:\n    within: 2 s\n    steps: [{write: restart, value: 1}]"),
    # station
    "two devices that fit the selection": lambda: unit(BATTERY, SOUND, device_text(SERVICES, name="unit 2", address="C4:00:00:00:00:02")),
    "a call that the station forbids": lambda: alone("call: rig:seven", station=Station("bench 1", forbid=["call"])),
    "a command that the station forbids": lambda: alone("command: [echo]", station=Station("bench 1", forbid=["command"])),
    "a console that the station does not have": lambda: alone("console:"),
    "a switch of the power that the station does not have": lambda: alone("power: cycle"),
    "a program that is not there": lambda: alone("command: [no-such-program-anywhere]"),
    "a program that fails unasked": lambda: alone("command: [sh, -c, exit 3]"),
    "a program that is killed unasked": lambda: alone("command: [sh, -c, 'kill -9 $$$$']"),
    "a program that does not end": lambda: alone("command: [sleep, '20']\n    within: 300 ms"),
    "a function that does not return": lambda: alone("call: rig:hangs\n    within: 300 ms"),
    "an async function that does not return": lambda: alone("call: rig:waits\n    within: 300 ms"),
    "a module that is not there": lambda: alone("call: no_such_module_anywhere:f"),
    "a StationError of a function": lambda: alone("call: rig:cannot"),
    # plan
    "a plan that limits nothing": lambda: on_unit("read: battery level"),
    "an exception in a function": lambda: alone("call: rig:broken"),
    "an exception while a module is loaded": lambda: alone("call: broken_rig:f"),
    "a function that returns nothing for a limited value": lambda: alone("call: rig:nothing\n    expect: {value: {max: 8}}"),
    "a number of the console without the unit of its limit": lambda: unit("console:\n    until: {line: {matches: 't=(?P<t>.*)'}}\n    expect: {t: {max: 3 °C}}", device_text(SERVICES, more="on_start: [{print: t=2}]")),
    "a function that is not in its module": lambda: alone("call: rig:missing"),
    "a name that is no function": lambda: alone("call: rig:not_a_function"),
    "an argument that a function does not take": lambda: alone("call: rig:seven\n    with: {factor: 2}"),
    "a reading that a function does not give": lambda: alone("call: rig:seven\n    expect: {values: {max: 8}}"),
    "a function that returns what no limit can judge": lambda: alone("call: rig:odd"),
    "a saved value that does not fit where it is written": lambda: on_unit("write: deaf\n    value: '${charge}'", "read: battery level\n    save: {value: charge}"),
    "a saved number that its format cannot carry": lambda: on_unit("write: share\n    value: '${number}'", "read: deaf\n    format: {as: uint8, offset: 100}\n    save: {value: number}"),
    "a stream of what is no characteristic": lambda: on_unit("notify: stops/client characteristic configuration\n    for: 1 s"),
    "an unknown key": lambda: alone("wait: 1 s\n    unless: 3"),
    "an unknown attribute": lambda: on_unit("read: colour of the lamp"),
    "a limit that cannot apply": lambda: on_unit("read: battery level\n    expect: {value: {min: 3 V}}"),
    "a step that needs a link and has none": lambda: alone("read: battery level"),
    "a value that is saved and not used": lambda: on_unit("read: battery level\n    save: {value: charge}"),
    "a counter that is not a number": lambda: on_unit("notify: command\n    for: 1 s\n    counter: value"),
    # operator
    "a passkey that nobody is there to type": lambda: paired("pair: keyboard" + BONDED, SHOWS + "}"),
    "a comparison that nobody is there for": lambda: paired("pair: yes/no" + BONDED, "{capability: yes/no}"),
    "a question that nobody is there to answer": lambda: alone("ask: Green?"),
    "a question that nobody answers in time": lambda: alone("ask: Green?\n    within: 300 ms", operator=Answers()),
    "a given answer that is none": lambda: alone("ask: Green?\n    given: seen", "given: {seen: {}}\n", given={"seen": "maybe"}),
    "a caution that nobody acknowledges": lambda: Fault(plan_text("  - write: deaf\n    value: 1\n", head="caution: Close the guard.\n", attributes=NAMES), [SOUND], {}, {"acknowledged": False}),
    "an interruption": lambda: on_unit("wait: 10 s", during=interrupts),
    # internal
    "a bug in benchrig": lambda: alone("ask: Green?", operator=Answers(ZeroDivisionError("a bug"))),
}  # fmt: skip
