"""A link that must end: what passes it, what does not, and who is blamed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import StationError
from benchrig.radio.losses import LOSSES
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from tests.plan.building import problems_of
from tests.run.kit import Ran, device_text, plan_text, run

A, B, C = (f"6b1d000{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in (2, 3, 4))
NAMES = (
    f"    restart: {{uuid: {A}, as: uint8}}\n    answers: {{uuid: {B}, as: uint8}}\n    state: {{uuid: {C}, as: uint8}}"
)


def unit(restart: str = "reboot: 1 s", answers: str = "", faults: str = "") -> str:
    """It restarts when `restart` is written."""
    return device_text(f"""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: {A}, as: uint8, properties: [write, write without response], value: 0, on_write: {{{restart}}}}}
      - {{characteristic: {B}, as: uint8, properties: [write, notify], value: 0, name: answers, on_write: {{{answers}}}}}
      - {{characteristic: {C}, as: uint8, properties: [read], value: 7}}
{f"faults: {{{faults}}}" if faults else ""}""")


def went(steps: str, device: str, **more: Any) -> Ran:
    return run(plan_text(steps, attributes=NAMES), device, **more)


WRITE = """  - write: restart
    value: 1
    within: 3 s
    expect: {lost_after: {max: 2 s}}
"""
AGAIN = "  - connect:\n    name: again\n  - read: state\n    expect: {value: {equals: 7}}\n"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("restart", "reason"),
    [("reboot: 1 s", "connection timeout"), ("disconnect: true", "remote user terminated connection")],
)
def test_a_unit_that_ends_its_link_as_it_must(restart: str, reason: str, air: str) -> None:
    expect = f"{{lost_after: {{max: 2 s}}, lost_reason: {{equals: {reason}}}}}"
    ran = went(WRITE.replace("{lost_after: {max: 2 s}}", expect) + AGAIN, unit(restart), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert 0 < float(ran.reading("write restart", "lost_after").value) < 2


def ends(steps: str, restart: str = "reboot: 1 s", answers: str = "", faults: str = "") -> tuple[str, str]:
    return steps, unit(restart, answers, faults)


WAIT = "  - wait: 3 s\n    expect: {lost_after: {min: 1 s, max: 3 s}}\n"
COMMAND = "  - command: ['true']\n    within: 5 s\n    expect: {lost_after: {max: 4 s}}\n"
EXCHANGE = "  - exchange: answers\n    value: 1\n    within: 4 s\n    expect: {lost_after: {max: 2 s}}\n"
REFUSED = "  - write: restart\n    value: 1\n    expect: {att_error: {equals: out of range}, lost_after: {max: 2 s}}\n"
SOON = "disconnect_after: 2 s"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("sound", "faulty", "message", "cause"),
    [
        (ends(WRITE), ends(WRITE, "delay: 1 ms"), "the link was not lost within 3 s", "limit"),
        (ends(WRITE), ends(WRITE, "att_error: 0x80"), "application error 0x80", "device"),
        (ends(WRITE), ends(WRITE, "silent: true"), "did not answer within 3 s", "device"),
        (ends(WRITE), ends(WRITE, "delay: 2500 ms, disconnect: true"), "above the maximum 2 s", "limit"),
        (ends(WRITE), ends(WRITE, faults="disconnect_after: 200 ms"), "the link was lost", "link"),
        (ends(WAIT, faults=SOON), ends(WAIT), "the link was not lost within 4 s", "limit"),
        (ends(WAIT, faults=SOON), ends(WAIT, faults="disconnect_after: 900 ms"), "below the minimum 1 s", "limit"),
        (ends(COMMAND, faults=SOON), ends(COMMAND), "the link was not lost within", "limit"),
        (ends(REFUSED, "att_error: 0xFF", faults=SOON), ends(REFUSED, "att_error: 0xFF"), "not lost", "limit"),
        (ends(REFUSED, "att_error: 0xFF", faults=SOON), ends(REFUSED), "no reading 'att_error'", "limit"),
    ],
)  # fmt: skip
def test_a_unit_that_ends_its_link_passes_and_its_twin_does_not(
    sound: tuple[str, str], faulty: tuple[str, str], message: str, cause: str, air: str
) -> None:
    assert went(sound[0] + (AGAIN if sound[0] == WRITE else ""), sound[1], air=air).ended.exit_code == 0
    ran = went(faulty[0] + "    name: the step\n" + AGAIN, faulty[1], air=air)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", cause, 1), ran.ended
    assert message in ran.ended.message
    assert ran.step(ran.ended.root.node).planned.name in ("the step", "connect")
    assert (ran.tasks_left, ran.stray) == (0, [])
    if "faults" not in faulty[1]:
        assert ran.verdicts()[-2:] == ["pass", "pass"], "what follows found a link"


def test_an_exchange_wants_its_answer_before_the_end() -> None:
    ran = went(EXCHANGE + AGAIN, unit(answers="disconnect: true"))
    assert (ran.ended.cause, ran.ended.message) == ("device", "the link was lost before an answer arrived on answers")
    assert went(EXCHANGE, unit(answers="notify: {answers: 5}", faults=SOON)).ended.exit_code == 0


def test_a_step_that_saves_when_the_link_ended_expects_that() -> None:
    save = WRITE.replace("expect: {lost_after: {max: 2 s}}", "save: {lost_after: away}")
    use = "  - connect:\n  - wait: 1 s\n    expect: {elapsed: {min: '${away}'}}\n"
    assert went(save + use, unit()).ended.exit_code == 0
    ran = went(save + use, unit("delay: 1 ms"))
    assert (ran.ended.cause, "gave no lost_after" in ran.ended.message) == ("limit", True)


# --- who ended it


def meanwhile(act: Callable[[Runner], object]) -> Any:
    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == "3":
            act(runner)

    return during


def _radio_breaks(runner: Runner) -> None:
    async def trouble() -> StationError:
        return StationError("the controller is gone")

    runner._devices[""].radio.trouble = trouble  # type: ignore[method-assign]


def _given_up(runner: Runner) -> None:
    asyncio.get_running_loop().call_later(1.0, runner._devices[""].link.on_disconnected, "the adapter was reset")


@pytest.mark.parametrize(
    ("act", "message"), [(_radio_breaks, "the controller is gone"), (_given_up, "the adapter was reset")]
)
def test_a_link_that_the_station_has_lost_is_no_pass(act: Callable[[Runner], object], message: str) -> None:
    ran = went(WAIT, unit(faults=SOON), during=meanwhile(act))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "station", 7)
    assert message in ran.ended.message


CALL = "  - call: ending:{}\n    expect: {{lost_after: {{max: 3 s}}{}}}\n"
FUNCTIONS = """async def by_itself(bench):
    await bench.disconnect()

async def reads_on(bench):
    while True:
        await bench.link.read(bench.target("state").found.attribute, "read", 1.0)
        await bench.pause(0.1)
    return {"seen": 1}

async def looks(bench):
    return {"seen": 1}
"""


@pytest.mark.parametrize(
    ("function", "more", "cause", "message"),
    [
        ("by_itself", "", "plan", "has ended the link"),
        ("reads_on", "", None, ""),
        ("reads_on", ", seen: {equals: 1}", "limit", "lost before ending:reads_on returned"),
        ("looks", ", seen: {equals: 1}", None, ""),
    ],
)
def test_a_function_that_sees_the_end(
    function: str, more: str, cause: str | None, message: str, tmp_path: Path
) -> None:
    (tmp_path / "ending.py").write_text(FUNCTIONS, encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text(plan_text(CALL.format(function, more), attributes=NAMES), encoding="utf-8")
    ran = run(path, unit(faults=SOON))
    assert (ran.ended.cause, message in ran.ended.message) == (cause, True), ran.ended


# --- what check says


@pytest.mark.parametrize(
    ("steps", "message"),
    [
        (WRITE + "  - read: state\n", "needs a connection, but the link was ended by 'write restart'"),
        (WRITE.replace("{max: 2 s}", "{max: 4 s}"), "3 s are over before the 4 s of the limit on lost_after"),
        (
            WRITE + "  - connect:\n  - wait: 1 s\n    expect: {lost_reason: {equals: connection timout}}\n",
            "connection timeout",
        ),
        (WRITE + "    read_back: true\n", "read_back needs the link"),
        ("  - disconnect:\n" + WAIT, "'wait 3 s' needs a connection"),
        ("  - read: state\n    expect: {lost_after: {max: 1 s}}\n", "a read step has no reading 'lost_after'"),
        (
            WAIT.replace("lost_after", "lost_reason").replace(
                "min: 1 s, max: 3 s", "equals: connection terminated by local host"
            ),
            "is never",
        ),
    ],
)
def test_what_cannot_be_is_told_before(steps: str, message: str) -> None:
    assert message in "\n".join(map(str, problems_of(plan_text(steps, attributes=NAMES))))


def test_the_words_are_those_of_the_stack() -> None:
    from benchrig.radio.bumble_stack.bumble_api import hci

    for code, word in LOSSES.items():
        assert hci.HCI_ErrorCode(code).name.lower().replace("_error", "").replace("_", " ") == word
