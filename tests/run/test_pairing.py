"""Pairing through whole plans: what has to pair does, what has to be refused is, and who is to blame for the rest."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest

from benchrig.radio.bumble_stack.bumble_api import hci, smp
from benchrig.radio.bumble_stack.manager import SecurityManager
from benchrig.radio.bumble_stack.smp import Session
from benchrig.record.events import Noted, Opened
from benchrig.report.files.junit import junit_xml
from benchrig.run.unattended import Unattended
from benchrig.steps.pairing_keys import METHODS
from benchrig.tasks import Tasks
from tests.run.kit import Ran, device_text, plan_text, run

LOCK = "6b1d0801-9a53-4c86-8a3e-2f0f6c1d7e40"
SERVICES = f"""services:
  - service: {LOCK}
    characteristics:
      - {{characteristic: {LOCK.replace("801", "802")}, as: uint8, properties: [read], read_needs: authenticated, value: 7}}
      - {{characteristic: {LOCK.replace("801", "803")}, as: uint8, properties: [write], on_write: {{store: false, delete_bonds: true}}}}
      - {{characteristic: {LOCK.replace("801", "804")}, name: display, as: utf8, properties: [notify], raw: ''}}
      - {{characteristic: {LOCK.replace("801", "805")}, as: utf8, properties: [write], raw: '', on_write: {{store: false, cases: [{{matches: '(?P<d>.*)', enter: '{{d}}'}}]}}}}
"""
NAMES = f"""    inside: {{uuid: {LOCK.replace("801", "802")}, as: uint8}}
    reset: {{uuid: {LOCK.replace("801", "803")}, as: uint8}}
    display: {{uuid: {LOCK.replace("801", "804")}, as: utf8}}
    keys: {{uuid: {LOCK.replace("801", "805")}, as: utf8}}"""


TYPED = ", on_write: {store: false, cases: [{matches: '(?P<d>.*)', enter: '{d}'}]}"


def lock(security: str, more: str = "") -> str:
    """What is typed on it is for a device alone that asks for it."""
    asks = "compare: ask" in security or ("keyboard" in security and "passkey" not in security)
    services = SERVICES if asks else SERVICES.replace(TYPED, "")
    lines = [line for line in more.split("\n") if asks or not line.startswith("console:")]
    return device_text(services, more="\n".join([f"security: {security}", *lines]))


def pairing(steps: str, security: str, more: str = "", **options: Any) -> Ran:
    return run(plan_text(steps, attributes=NAMES), lock(security, more), **options)


def told(ran: Ran, step: str | int = 3) -> dict[str, Any]:
    return {reading.name: reading.value for reading in ran.step(step).readings}


def ends(ran: Ran) -> tuple[str, str | None]:
    return ran.ended.verdict, ran.ended.cause


class Person(Unattended):
    """Somebody who reads, types and compares. `types` is what he types, or makes it of what he was told."""

    def __init__(self, types: str = "", agrees: bool = True) -> None:
        self.told: list[str] = []
        self.asked: list[str] = []
        self._types, self._agrees = types, agrees

    async def tell(self, text: str) -> None:
        self.told.append(text)

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        self.asked.append(question)
        assert not problem_with(self._types)
        return self._types

    async def confirm(self, question: str) -> bool:
        self.asked.append(question)
        return self._agrees


ALL = "{method: {equals: METHOD}, secure_connections: {equals: true}, authenticated: {equals: AUTH}, bonded: {equals: true}, key_size: {min: 16}, elapsed: {max: 5 s}}"
FITTING = [
    ("none", "", "{capability: none}", "just works"),
    ("display", "passkey: '000000'", "{capability: keyboard, passkey: '000000'}", "passkey"),
    ("keyboard", "passkey: '999999'", "{capability: display, passkey: '999999'}", "passkey"),
    ("yes/no", "number: accept", "{capability: yes/no}", "numeric comparison"),
    ("keyboard and display", "number: accept", "{capability: keyboard and display}", "numeric comparison"),
]


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(("capability", "key", "security", "method"), FITTING, ids=[each[0] for each in FITTING])
def test_every_capability_through_a_plan(air: str, capability: str, key: str, security: str, method: str) -> None:
    limits = ALL.replace("METHOD", method).replace("AUTH", str(method != "just works").lower())
    steps = f"  - pair: {capability}\n    {key}\n    expect: {limits}\n  - disconnect:\n  - connect:\n    attempts: 3\n  - encrypt:\n"
    ran = pairing(steps, security, air=air)
    assert ends(ran) == ("pass", None), ran.ended.message
    assert told(ran)["method"] == method
    assert {capability} <= METHODS.keys()
    assert not ran.stray
    assert not ran.tasks_left


SHOWS = "{capability: display, passkey: '042517', accepts: authenticated}"
WRONG = "  - pair: keyboard\n    passkey: '000001'\n    expect: {failure: {equals: confirm value failed}}\n"


@pytest.mark.parametrize(
    ("steps", "security", "expected"),
    [
        (WRONG, SHOWS, "pass None"),
        # it does not check, so that benchrig alone notices; it pairs with whatever is typed; it is not there
        (WRONG, "{capability: display, passkey: '042517', faults: {unchecked: true}}", "fail device"),
        (WRONG.replace("expect: {", "expect: {failed_by: {equals: device}, "), "{capability: display, passkey: '042517', faults: {unchecked: true}}", "fail device"),
        (WRONG, "{capability: display, passkey: '000001'}", "fail limit"),
        (WRONG, "{capability: none}", "fail limit"),
        # it never asks for the passkey that the plan has
        ("  - pair: keyboard\n    passkey: '042517'\n    expect: {bonded: {equals: true}}\n", "{capability: none}", "fail limit"),
        ("  - pair: keyboard\n    passkey: '042517'\n    expect: {method: {equals: just works}}\n", "{capability: none}", "pass None"),
        (WRONG, "{bondable: false}", "fail limit"),
        (WRONG, "{capability: display, passkey: '042517', faults: {silent_at: pairing random}}", "fail limit"),
        (WRONG, "{capability: display, passkey: '042517', faults: {disconnects_at: pairing random}}", "fail link"),
        # what is no refusal counts as one only where it is named
        (WRONG.replace("equals: confirm value failed", "differs: none"), SHOWS, "pass None"),
        (WRONG.replace("equals: confirm value failed", "differs: none"), "{capability: display, faults: {unchecked: true}}", "fail device"),
        (WRONG.replace("equals: confirm value failed", "differs: none"), "{capability: display, faults: {silent_at: pairing random}}", "fail device"),
        (WRONG.replace("equals: confirm value failed", "differs: none"), "{capability: display, faults: {disconnects_at: pairing random}}", "fail link"),
        (WRONG.replace("equals: confirm value failed", "one_of: [confirm value failed, link lost]"), "{capability: display, faults: {disconnects_at: pairing random}}", "pass None"),
        ("  - pair:\n    expect: {failure: {differs: none}}\n", "{faults: {debug_key: true}}", "fail device"),
        ("  - pair:\n    expect: {failure: {differs: none}}\n", "{bondable: false}", "pass None"),
        # the bench lacks nothing here, the unit does
        ("  - pair:\n    pairing: secure connections\n    expect: {failure: {equals: authentication requirements}}\n", "{pairing: legacy}", "pass None"),
        ("  - pair:\n    expect: {failure: {equals: authentication requirements}}\n", SHOWS, "pass None"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", SHOWS, "fail device"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", "{bonding: false}", "fail limit"),
        # a bond that was asked for is there, with a limit or without
        ("  - pair:\n    expect: {method: {equals: just works}}\n", "{bonding: false}", "fail device"),
        ("  - pair:\n    expect: {bonded: {equals: false}}\n", "{bonding: false}", "pass None"),
        ("  - pair:\n    bonding: false\n    expect: {method: {equals: just works}}\n", "{bonding: false}", "pass None"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", "{bondable: false}", "fail device"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", "{faults: {silent_at: pairing request}}", "fail device"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", "{faults: {disconnects_at: public key}}", "fail link"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n", "{faults: {refuses: repeated attempts}}", "fail device"),
        ("  - pair:\n    key_size: 7\n    expect: {failure: {equals: encryption key size}}\n", "{least_key_size: 16}", "pass None"),
        ("  - pair:\n    key_size: 7\n    expect: {failure: {equals: encryption key size}}\n", "{}", "fail limit"),
        ("  - pair:\n    expect: {key_size: {min: 16}}\n", "{key_size: 7}", "fail limit"),
        ("  - pair:\n    pairing: legacy\n    expect: {failure: {equals: authentication requirements}}\n", "{pairing: secure connections}", "pass None"),
        ("  - pair:\n    pairing: legacy\n    expect: {failure: {equals: authentication requirements}}\n", "{pairing: either}", "fail limit"),
        ("  - pair:\n    expect: {secure_connections: {equals: true}}\n", "{pairing: legacy}", "fail limit"),
        ("  - pair: yes/no\n    number: refuse\n    expect: {failure: {equals: numeric comparison failed}}\n", "{capability: yes/no}", "pass None"),
        ("  - pair: yes/no\n    number: '000000'\n    expect: {bonded: {equals: true}}\n", "{capability: yes/no}", "fail limit"),
        ("  - pair: yes/no\n    number: accept\n    expect: {failure: {equals: numeric comparison failed}}\n", "{capability: yes/no, compare: refuse}", "pass None"),
        ("  - pair: yes/no\n    number: accept\n    expect: {bonded: {equals: true}}\n", "{capability: yes/no, compare: refuse}", "fail device"),
        ("  - pair: keyboard\n    expect: {bonded: {equals: true}}\n", SHOWS, "error operator"),
        ("  - pair: display\n    expect: {bonded: {equals: true}}\n", "{capability: keyboard}", "error operator"),
        ("  - pair: yes/no\n    expect: {bonded: {equals: true}}\n", "{capability: yes/no}", "error operator"),
    ],
)  # fmt: skip
def test_who_is_to_blame(steps: str, security: str, expected: str) -> None:
    ran = pairing(steps, security)
    assert f"{ran.ended.verdict} {ran.ended.cause}" == expected, ran.ended.message
    assert not ran.stray
    assert not ran.tasks_left


BOND = "  - pair: keyboard\n    passkey: '042517'\n    expect: {bonded: {equals: true}}\n"
AGAIN = "  - disconnect:\n  - connect:\n    attempts: 3\n"
ENCRYPTED = (
    AGAIN
    + "  - encrypt:\n    expect: {authenticated: {equals: true}}\n  - read: inside\n    expect: {value: {equals: 7}}\n"
)
CLEARED = "  - unpair:\n    steps: [{write: reset, value: 1}]\n    expect: {old_key: {equals: no key}}\n"


@pytest.mark.parametrize(
    ("steps", "security", "expected"),
    [
        (BOND + ENCRYPTED, SHOWS, "pass None"),
        (BOND + ENCRYPTED, SHOWS.replace("}", ", faults: {forgets_bonds: disconnection}}"), "fail device encrypt"),
        (BOND + AGAIN + "  - encrypt:\n    expect: {failure: {equals: no key}}\n", SHOWS.replace("}", ", faults: {forgets_bonds: disconnection}}"), "pass None"),
        (BOND + AGAIN + "  - encrypt:\n    expect: {failure: {equals: no key}}\n", SHOWS, "fail limit encrypt"),
        (BOND + CLEARED, SHOWS, "pass None"),
        (BOND + CLEARED.replace("expect: {old_key: {equals: no key}}", ""), SHOWS, "pass None"),
        (BOND + CLEARED, SHOWS.replace("}", ", faults: {keeps_bonds: true}}"), "fail limit unpair"),
        (BOND + CLEARED.replace("expect: {old_key: {equals: no key}}", ""), SHOWS.replace("}", ", faults: {keeps_bonds: true}}"), "fail device unpair"),
        (BOND + "  - unpair:\n    steps: [{power: cycle}]\n", SHOWS.replace("}", ", faults: {forgets_bonds: restart}}"), "pass None"),
        (BOND + "  - unpair:\n    steps: [{power: cycle}]\n", SHOWS, "fail device unpair"),
        (BOND + "  - unpair:\n", SHOWS, "pass None"),
        (BOND + "  - unpair:\n    expect: {old_key: {equals: no key}}\n", SHOWS, "fail limit unpair"),
        ("  - pair:\n    expect: {bonded: {equals: true}}\n" + CLEARED, "{}", "pass None"),
    ],
)  # fmt: skip
def test_bonds_that_stay_and_bonds_that_go(steps: str, security: str, expected: str) -> None:
    ran = pairing(steps, security)
    verdict, cause, *step = expected.split(" ")
    assert (ran.ended.verdict, str(ran.ended.cause)) == (verdict, cause), ran.ended.message
    assert not step or ran.ended.root is not None
    assert not step or ran.step(step[0]).ended.verdict == "fail"
    assert not ran.stray
    assert not ran.tasks_left


CONSOLE = (
    "on_display: [{print: 'passkey {number}'}]\nconsole: [{matches: 'type (?P<digits>[0-9]{6})', enter: '{digits}'}]"
)
READS = """    passkey: '${code}'
    steps:
      - console:
        until: {line: {matches: 'passkey (?P<code>[0-9]{6})'}}
        save: {code: code}
"""
ROOM = "    expect: {method: {equals: passkey}}\n"


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(
    ("steps", "security", "more"),
    [
        # the line of the attempt before is not the one that is meant
        (WRONG + "  - pair: keyboard\n" + READS + ROOM, "{capability: display}", CONSOLE),
        ("  - pair: display\n    steps: [{console: , send: 'type ${shown}'}]\n" + ROOM, "{capability: keyboard}", CONSOLE.partition("\n")[2]),
        ("  - pair: display\n    steps: [{write: keys, value: '${shown}'}]\n" + ROOM, "{capability: keyboard}", ""),
        (
            "  - pair: keyboard\n    passkey: '${code}'\n    steps: [{notify: display, count: 1, save: {value: code}}]\n" + ROOM,
            "{capability: display}",
            "on_display: [{delay: 200 ms, notify: {display: '{number}'}}]",
        ),
        (
            "  - pair: yes/no\n    number: '${code}'\n" + READS.replace("    passkey: '${code}'\n", "") + ROOM.replace("passkey", "numeric comparison"),
            "{capability: yes/no}",
            CONSOLE,
        ),
        (
            "  - pair: yes/no\n    number: accept\n    steps: [{write: keys, value: accept}]\n" + ROOM.replace("passkey", "numeric comparison"),
            "{capability: yes/no, compare: ask}",
            "",
        ),
    ],
)  # fmt: skip
def test_steps_tell_the_number(air: str, steps: str, security: str, more: str) -> None:
    ran = pairing(steps, security, more, air=air)
    assert ends(ran) == ("pass", None), ran.ended.message
    assert not ran.stray
    assert not ran.tasks_left


@pytest.mark.parametrize(
    ("steps", "security", "expected"),
    [
        # the unit tells nothing; it tells another number than it means; the pairing asks for none
        ("  - pair: keyboard\n" + READS + ROOM, "{capability: display}", "fail limit console"),
        ("  - pair: keyboard\n" + READS + ROOM, "{capability: none}", "fail limit pair keyboard"),
        ("  - pair: keyboard\n    passkey: '${code}'\n    steps: [{read: display, save: {value: code}}]\n" + ROOM, "{capability: display}", "fail device read display"),
    ],
)  # fmt: skip
def test_steps_that_tell_no_number(steps: str, security: str, expected: str) -> None:
    ran = pairing(steps, security)
    verdict, cause, step = expected.split(" ", 2)
    assert ends(ran) == (verdict, cause), ran.ended.message
    assert ran.step(step).ended is not None
    assert ran.step(step).ended.verdict == verdict
    assert not ran.stray
    assert not ran.tasks_left


BONDED = "    bonding: true\n    clear: [{write: reset, value: 1, name: again}]\n"


@pytest.mark.parametrize(
    ("more", "security", "expected"),
    [
        ("", SHOWS.replace("}", ", unbonded: false}"), "fail device"),
        (BONDED, SHOWS.replace("}", ", unbonded: false}"), "pass None"),
        (BONDED.replace("reset, value: 1", "keys, value: none"), SHOWS.replace("}", ", unbonded: false}"), "fail device"),
    ],
)  # fmt: skip
def test_a_unit_that_wants_bonds(more: str, security: str, expected: str) -> None:
    ran = pairing(BOND + "  - unpair:\n    steps: [{write: reset, value: 1}]\n" + more, security)
    assert f"{ran.ended.verdict} {ran.ended.cause}" == expected, ran.ended.message
    assert not ran.stray


class Store:
    """Bonds that outlive the run."""

    def __init__(self, inner: Any) -> None:
        self.all = inner.all


@pytest.mark.parametrize(
    ("steps", "stopped", "notes"),
    [
        (BOND, False, 1),
        (BOND + "  - unpair:\n", False, 0),
        (BOND + "  - wait: 1 s\n  - unpair:\n", True, 1),
        (WRONG, False, 0),
    ],
)
def test_the_record_tells_of_a_bond_that_stays(steps: str, stopped: bool, notes: int) -> None:
    def stored(radio: Any) -> Any:
        radio.bonds = Store(radio.bonds)
        return radio.beside

    def stop(runner: Any, event: Any) -> None:
        if stopped and isinstance(event, Opened) and event.where.node == "4":
            runner.interrupt()

    ran = pairing(steps, SHOWS, beside=stored, during=stop)
    found = [note.text for note in ran.record.notes if "leaves a bond" in note.text]
    assert len(found) == notes
    assert all(text.endswith("C4:00:00:00:00:01 unit 1") for text in found)


def test_nothing_proven_is_said_so() -> None:
    ran = pairing(BOND + "  - unpair:\n", SHOWS)
    assert [
        each.text for each in ran.events if isinstance(each, Noted) and "nothing is proven about the unit" in each.text
    ]


@pytest.mark.parametrize(
    ("steps", "security", "person", "expected"),
    [
        ("  - pair: keyboard\n", SHOWS, Person("042517"), "pass None"),
        ("  - pair: keyboard\n", SHOWS, Person("042 517"), "pass None"),
        ("  - pair: keyboard\n", SHOWS, Person("042518"), "fail device"),
        ("  - pair: yes/no\n", "{capability: yes/no}", Person(), "pass None"),
        ("  - pair: yes/no\n", "{capability: yes/no}", Person(agrees=False), "fail limit"),
        ("  - pair: display\n", "{capability: keyboard, passkey: '111111'}", Person(), "fail device"),
        ("  - pair: display\n    passkey: '111111'\n", "{capability: keyboard, passkey: '111111'}", Person(), "pass None"),
    ],
)  # fmt: skip
def test_the_person_at_the_bench(steps: str, security: str, person: Person, expected: str) -> None:
    ran = pairing(steps + "    expect: {bonded: {equals: true}}\n", security, operator=person)
    assert f"{ran.ended.verdict} {ran.ended.cause}" == expected, ran.ended.message
    assert not re.search("[0-9]{6}", " ".join(person.asked))  # questions may be in an error
    assert all("unit 1" in text for text in (*person.told, *person.asked))
    assert all(re.search(r"\d{3} \d{3}$", text, re.MULTILINE) for text in person.told)


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(
    "slow",
    [
        "{wait: 40 s}",
        "{wait: 20 s}, {wait: 20 s}",
        "{console: , until: {line: {matches: 'never (?P<code>[0-9]{6})'}}, within: 60 s}",
        "{repeat: 9, steps: [{wait: 9 s}]}",
    ],
)
def test_steps_that_take_longer_than_a_pairing_waits(air: str, slow: str) -> None:
    step = f"  - pair: keyboard\n    passkey: '042517'\n    within: 100 s\n    steps: [{slow}]\n"
    ran = pairing(step + ROOM, "{capability: display, passkey: '042517'}", CONSOLE, air=air)
    assert ends(ran) == ("fail", "limit"), ran.ended.message
    assert "28 s" in ran.ended.message
    (root,) = [each for each in ran.record.executions if each.where == ran.ended.root]
    assert root.ended is not None
    assert "prepare" in root.ended.advice
    assert not ran.stray


class Away(Person):
    """Somebody who never answers."""

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        await asyncio.Event().wait()
        return ""


@pytest.mark.parametrize("within", [0.2, 60.0])
def test_a_person_who_does_not_answer(within: float) -> None:
    """The clock of the simulation stands meanwhile; that of the pairing is the real one, made short here."""
    with mock.patch("benchrig.steps.numbers.ANSWER_WITHIN", min(within, 0.2)):
        ran = pairing(
            "  - pair: keyboard\n    expect: {bonded: {equals: true}}\n  - wait: 1 s\n", SHOWS, operator=Away()
        )
    assert ends(ran) == ("error", "operator"), ran.ended.message
    assert "nobody answered within the 0.2 s" in ran.ended.message
    assert not ran.stray
    assert not ran.tasks_left


def test_an_interruption_while_a_person_is_asked() -> None:
    class Leaves(Away):
        async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
            asyncio.get_running_loop().call_soon(runners[0].interrupt)
            return await super().enter(question, problem_with)

    runners: list[Any] = []
    steps = "  - pair: keyboard\n    expect: {bonded: {equals: true}}\nfinally:\n  - disconnect:\n"
    ran = pairing(steps, SHOWS, operator=Leaves(), during=lambda runner, _: runners.append(runner))
    assert ends(ran) == ("error", "operator")
    assert ran.step("disconnect").ended is not None
    assert ran.step("disconnect").ended.verdict == "pass"
    assert not ran.stray
    assert not ran.tasks_left


def test_a_bond_outlives_power_and_restart() -> None:
    steps = (
        BOND
        + "  - power: cycle\n  - connect:\n    attempts: 3\n  - encrypt:\n    expect: {authenticated: {equals: true}}\n"
    )
    assert ends(pairing(steps, SHOWS)) == ("pass", None)
    loses = pairing(steps, SHOWS.replace("}", ", faults: {forgets_bonds: restart}}"))
    assert ends(loses) == ("fail", "device")
    assert loses.step("encrypt").ended.verdict == "fail"  # type: ignore[union-attr]


def test_only_takes_what_the_bond_needs() -> None:
    steps = (
        BOND + "  - wait: 1 s\n" + AGAIN + "  - encrypt:\n    expect: {authenticated: {equals: true}}\n  - unpair:\n"
    )
    ran = pairing(steps, SHOWS, only=["encrypt"])
    names = [one.planned.name for one in ran.record.executions]
    assert names == ["scan", "connect", "pair keyboard", "disconnect", "connect (2)", "encrypt"]
    assert ends(ran) == ("pass", None)


def test_without_a_bond_the_steps_that_need_one_are_left_out() -> None:
    ran = pairing(BOND + AGAIN + "  - encrypt:\n" + CLEARED, "{bondable: false}")
    skipped = {
        one.planned.name: one.ended.message
        for one in ran.record.executions
        if one.ended and one.ended.verdict == "skip"
    }
    assert skipped["encrypt"] == skipped["unpair"] == "step 3 left no bond"
    assert ends(ran) == ("fail", "device")


@pytest.mark.parametrize(("capability", "key", "security", "method"), FITTING, ids=[each[0] for each in FITTING])
def test_the_reports_say_how_it_paired(capability: str, key: str, security: str, method: str) -> None:
    ran = pairing(f"  - pair: {capability}\n    {key}\n    expect: {{method: {{equals: {method}}}}}\n", security)
    report = junit_xml(ran.record).decode()
    assert f"pair {capability}" in report
    assert f"method = {method}" in report


def test_an_unwanted_bond_is_gone() -> None:
    steps = WRONG + AGAIN + "  - pair: keyboard\n    passkey: '000001'\n    expect: {bonded: {equals: true}}\n"
    ran = pairing(steps, "{capability: display, passkey: '000001'}")
    assert told(ran, "pair keyboard")["failure"] == "none"
    assert [each for each in ran.events if isinstance(each, Noted) and "removed the bond" in each.text]
    assert ran.step("pair keyboard (2)").ended.verdict == "pass"  # type: ignore[union-attr]
    assert ends(ran) == ("fail", "limit")


class Stranger(Session):
    """A unit that tells another address than its own as its identity."""

    told = "C4:00:00:00:00:99"

    def send_command(self, command: smp.SMP_Command) -> None:
        if isinstance(command, smp.SMP_Identity_Address_Information_Command):
            address = hci.Address(self.told, hci.AddressType.RANDOM_DEVICE)
            command = smp.SMP_Identity_Address_Information_Command(addr_type=1, bd_addr=address)
        super().send_command(command)


@pytest.mark.parametrize("last", ["  - encrypt:\n", "  - unpair:\n    steps: [{write: reset, value: 1}]\n"])
def test_a_unit_that_tells_another_address_than_it_has(last: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def session(*arguments: Any) -> Session:
        return (Session if arguments[-1] else Stranger)(*arguments)

    monkeypatch.setattr("benchrig.radio.bumble_stack.manager.Session", session)
    ran = pairing(f"  - pair:\n    expect: {{bonded: {{equals: true}}}}\n{AGAIN}{last}", "{}")
    assert ends(ran) == ("fail", "device"), ran.ended.message
    assert "another address" in ran.ended.message


TWO = """plan: two
devices:
  first: {select: {name: unit 1}}
  second: {select: {name: unit 2}}
steps:
  - {connect: , device: first}
  - {pair: , device: first}
  - {disconnect: , device: first}
  - {connect: , device: second}
  - {pair: , device: second, name: claim}
  - {disconnect: , device: second}
  - {connect: , device: first}
  - {encrypt: , device: first, name: comes back, expect: {key_size: {min: 16}}}
"""


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize("liar", [True, False])
def test_a_unit_that_tells_the_address_of_another_bonded_one(
    air: str, liar: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is to blame, and the bond of the other one stays."""

    def session(*arguments: Any) -> Session:
        return (Session if arguments[-1] or not liar else Stranger)(*arguments)

    monkeypatch.setattr(Stranger, "told", "C4:00:00:00:00:01")
    monkeypatch.setattr("benchrig.radio.bumble_stack.manager.Session", session)
    second = lock("{}").replace("unit 1", "unit 2").replace("C4:00:00:00:00:01", "C4:00:00:00:00:02")
    ran = run(TWO, lock("{}"), second, air=air)
    ended = {each.planned.name: each.ended for each in ran.record.executions if each.ended is not None}
    assert ended["claim (second)"].verdict == ("fail" if liar else "pass"), ran.ended.message
    assert ended["comes back (first)"].verdict == "pass", ran.ended.message
    assert not liar or "the identity address of another bonded device" in ran.ended.message
    assert ends(ran) == (("fail", "device") if liar else ("pass", None))


def test_wrong_data_out_of_band_are_noticed_by_the_bench_first() -> None:
    data = f"{{random: '{'11' * 16}', confirm: '{'22' * 16}'}}"
    step = f"  - pair: none\n    out_of_band: {data}\n    expect: {{failure: {{equals: confirm value failed}}MORE}}\n"
    security = f"{{out_of_band: {{random: '{'11' * 16}'}}}}"
    ran = pairing(step.replace("MORE", ""), security)
    ended = ran.step(3).ended
    assert ended is not None
    assert (ends(ran), ended.advice.split(" to ")[0]) == (("fail", "device"), "add failed_by: {equals: bench}")
    assert ends(pairing(step.replace("MORE", ", failed_by: {equals: bench}"), security)) == ("pass", None)


class Leaves(Session):
    """A unit that ends the link once it has refused a pairing."""

    def send_command(self, command: smp.SMP_Command) -> None:
        super().send_command(command)
        if isinstance(command, smp.SMP_Pairing_Failed_Command):
            asyncio.get_running_loop().call_later(0.05, lambda: soon(self.connection.disconnect(0x05)))


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_unit_may_end_the_link_when_it_has_refused(air: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def session(*arguments: Any) -> Session:
        return (Session if arguments[-1] else Leaves)(*arguments)

    monkeypatch.setattr("benchrig.radio.bumble_stack.manager.Session", session)
    ran = pairing(WRONG + BOND + ENCRYPTED, SHOWS, air=air)
    assert ends(ran) == ("pass", None), ran.ended.message
    assert [each for each in ran.events if isinstance(each, Noted) and "connected again" in each.text]


SAYS_NO_KEY = "  - encrypt:\n    expect: {failure: {equals: no key}}\n"


@pytest.mark.parametrize(
    ("does", "steps", "expected"),
    [
        ("says so and leaves", CLEARED, "pass None"),
        ("leaves", CLEARED, "pass None"),
        ("leaves", AGAIN + SAYS_NO_KEY, "pass None"),
        ("nothing", AGAIN + SAYS_NO_KEY, "fail limit"),
        ("nothing", AGAIN + "  - encrypt:\n    expect: {authenticated: {equals: true}}\n", "fail device"),
        ("nothing", AGAIN + SAYS_NO_KEY.replace("equals: no key", "differs: none"), "fail device"),
    ],
)
def test_what_a_unit_without_the_key_does(
    does: str, steps: str, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says that it has none, and may end the link with that or in place of it; silence is no answer."""
    answer = SecurityManager._long_term_key

    async def answers(self: SecurityManager, handle: int, rand: bytes, ediv: int) -> bytes | None:
        key = await answer(self, handle, rand, ediv)
        connection = self.device.lookup_connection(handle)
        session = self.session_of(connection) if connection else None
        if connection is None or key is not None or (session and not session.completed):
            return key
        if does == "nothing":
            await asyncio.Event().wait()
        soon(connection.disconnect(0x05))
        await asyncio.sleep(0.0 if does == "says so and leaves" else 0.3)
        return None

    monkeypatch.setattr(SecurityManager, "_long_term_key", answers)
    security = SHOWS if steps == CLEARED else SHOWS.replace("}", ", faults: {forgets_bonds: disconnection}}")
    ran = pairing(BOND + steps, security)
    assert f"{ran.ended.verdict} {ran.ended.cause}" == expected, ran.ended.message


def soon(work: Any) -> None:
    TASKS.start(work)


TASKS = Tasks()
