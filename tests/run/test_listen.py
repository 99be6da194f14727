"""listen through whole runs: streams while steps run, reactions to them, and the devices that do it wrong."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.radio.virtual import AirPdu, Faults
from benchrig.record.model import Execution
from tests.plan.building import problems_of, with_steps
from tests.run.kit import Ran, device_text, plan_text, run

RIDE, ASSIST, LEVEL, ANSWER = (f"7b1f000{n}-4d1e-4b6f-9a57-2f3c1de0a001" for n in (2, 3, 4, 5))
FIELDS = "[{name: number, as: uint16}, {name: power, as: uint16, unit: W}]"
NAMES = f"""
    ride: {{uuid: {RIDE}, fields: {FIELDS}}}
    assist: {{uuid: {ASSIST}, as: uint8}}
    level: {{uuid: {LEVEL}, as: uint8, unit: '%'}}
    answer: {{uuid: {ANSWER}, as: hex}}
"""
BOOST = "then: [{delay: 200 ms, set: {ride.power: 260 W}}]"


def device(
    on_write: str = BOOST, *, ride: str = "period: 50 ms", power: str = "100 W", start: str = "", more: str = ""
) -> str:
    return device_text(
        f"""services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - characteristic: {RIDE}
        name: ride
        fields: {FIELDS}
        properties: [notify]
        value: {{number: {{counter: {{}}}}, power: {power}}}
        notify: {{{ride}}}
      - {{characteristic: {ASSIST}, name: assist, as: uint8, properties: [write], value: 0,
          on_write: {{notify: {{answer: '81 00'}}, {on_write}}}}}
      - {{characteristic: {LEVEL}, name: level, as: uint8, unit: '%', properties: [read, notify], value: 50 %,
          notify: {{period: 500 ms}}}}
      - {{characteristic: {ANSWER}, name: answer, as: hex, properties: [notify], value: '00'}}
{start}""",
        more=more,
    )


SOUND = device()
LISTEN = """  - listen:
      ride: {counter: number}
      level:
    steps:
      - wait: 1 s
      - write: assist
        value: 3
      - wait: 3 s
        name: later
"""
REACTIONS = "    reactions: {boost: {after: write assist, until: {ride.value.power: {min: 250 W}}}}\n"
ALL = """    expect:
      ride.lost: {equals: 0}
      ride.duplicated: {equals: 0}
      level.count: {min: 6}
      boost: {max: LIMIT}
"""


def listened(expect: str, unit: str = SOUND, *, listen: str = LISTEN, **how: Any) -> Ran:
    return run(plan_text(f"{listen}{expect}", attributes=NAMES), unit, **how)


def whole(ran: Ran) -> Execution:
    """The listen step itself."""
    return next(each for each in ran.record.executions if each.planned.kind == "listen")


def said(ran: Ran, name: str) -> Any:
    return next(reading for reading in whole(ran).readings if reading.name == name)


@pytest.mark.parametrize(("air", "limit"), [("kind", "400 ms"), ("rough", "2 s")])
def test_nothing_is_lost_while_steps_run_and_what_they_cause_is_timed(air: str, limit: str) -> None:
    ran = listened(REACTIONS + ALL.replace("LIMIT", limit), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert 0.2 <= said(ran, "boost").value <= 0.45 + (air == "rough") * 2
    assert said(ran, "ride.value.power").samples.maximum == 260
    assert ran.ended.judged == 4


FAULTY = {
    "drops every 50th": (device(ride="period: 50 ms, drop_every: 50"), "ride.lost", "1 is not 0"),
    "reacts too late": (device(BOOST.replace("200 ms", "2 s")), "boost", "above the maximum"),
    "never reacts": (device("store: true"), "boost", "there is no value: expected ride.value.power min 250 W; found 100 W, "),
    "reacts to half": (device(BOOST.replace("260", "240")), "boost", "found 240 W, "),
    "is silent": (device(ride="period: 1 h"), "boost", "expected ride.value.power min 250 W; none arrived, 0 notifications after 'write assist' began"),
}  # fmt: skip


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize("fault", FAULTY)
def test_a_faulty_device_fails_by_what_it_does_wrong(fault: str, air: str) -> None:
    unit, reading, sentence = FAULTY[fault]
    ran = listened(REACTIONS + ALL.replace("LIMIT", "500 ms" if air == "kind" else "1.9 s"), unit, air=air)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.root.label) == ("fail", "limit", "3")
    judgement = said(ran, reading).judgement
    assert (judgement.passed, sentence in judgement.sentence) == (False, True), judgement.sentence


def test_what_was_so_before_and_is_not_heard_again_is_said_to_be_missing() -> None:
    listen = LISTEN.replace("write: assist\n        value: 3", "disconnect:")
    ran = listened(
        REACTIONS.replace("write assist", "later") + "    expect: {boost: {max: 500 ms}}\n",
        device(power="300 W"),
        listen=listen,
    )
    reason = "expected ride.value.power min 250 W; none arrived, 0 notifications after 'later' began"
    assert said(ran, "boost").judgement.sentence == f"there is no value: {reason}"


def test_what_happens_before_the_step_is_no_reaction_to_it() -> None:
    """It peaks once, before the write, and never again."""
    peak = device("store: true", power="{sequence: [100 W, 100 W, 260 W" + ", 100 W" * 200 + "]}")
    ran = listened(REACTIONS + "    expect: {boost: {max: 3 s}}\n", peak)
    assert (ran.ended.cause, said(ran, "boost").value) == ("limit", None)


def test_a_state_that_was_there_before_is_noted() -> None:
    ran = listened(REACTIONS + "    expect: {boost: {max: 500 ms}}\n", device(power="300 W"))
    assert [note.text for note in whole(ran).notes] == [
        "boost: the last sample before 'write assist' satisfied it already"
    ]


def test_a_reaction_to_a_step_that_does_not_begin_has_no_value() -> None:
    left_out = LISTEN.replace(
        "      - wait: 1 s\n", "      - write: level\n        value: 5 %\n        on_fail: stop\n"
    )
    ran = listened(REACTIONS + "    expect: {boost: {max: 500 ms}, failed: {max: 5}}\n", listen=left_out)
    assert ran.ended.exit_code == 1
    assert not any(reading.value for reading in whole(ran).readings if reading.name == "boost")


# --- the statistics


def test_the_statistics_are_those_of_notify() -> None:
    """One stream and no steps but a pause: the same numbers from the same seed, on a rough air too."""
    names = ("count", "rate", "first_after", "gap_max", "gap_p95", "lost", "duplicated", "throughput", "length")
    limits = dict.fromkeys(("count", "lost", "duplicated"), "{min: 0}")
    limits |= {"rate": "{min: 1 Hz}", "throughput": "{min: 0.01 kbit/s}", "length": "{equals: 4 bytes}"}
    limits |= dict.fromkeys(("first_after", "gap_max", "gap_p95"), "{max: 5 s}")
    alone = ", ".join(f"{name}: {limits[name]}" for name in names)
    among = ", ".join(f"ride.{name}: {limits[name]}" for name in names)
    for air in ("kind", "rough"):
        notify = run(
            plan_text(
                f"  - notify: ride\n    for: 5 s\n    counter: number\n    expect: {{{alone}}}\n", attributes=NAMES
            ),
            SOUND,
            air=air,
            seed=4,
        )
        listen = listened(
            f"    expect: {{{among}}}\n",
            listen="  - listen: {ride: {counter: number}}\n    steps: [{wait: 5 s}]\n",
            air=air,
            seed=4,
        )
        assert [notify.ended.exit_code, listen.ended.exit_code] == [0, 0]
        theirs = {name: (said(listen, f"ride.{name}").value, said(listen, f"ride.{name}").samples) for name in names}
        assert theirs == {name: (notify.reading(3, name).value, notify.reading(3, name).samples) for name in names}
        assert said(listen, "ride.value.number").samples == notify.reading(3, "value.number").samples


def test_what_a_step_inside_measures_can_be_judged() -> None:
    """Also when that step itself has no limit on it."""
    assert listened("    expect: {write assist.elapsed: {max: 2 s}, later.elapsed: {min: 2 s}}\n").ended.exit_code == 0
    assert listened("    expect: {write assist.elapsed: {max: 1 ms}}\n").ended.cause == "limit"


# --- silence, malformed values, refusals


def test_a_stream_that_brings_nothing_does_not_pass_unless_its_count_may_be_zero() -> None:
    silent = device(ride="period: 1 h")
    ran = listened("    expect: {level.count: {min: 1}}\n", silent)
    assert (ran.ended.cause, ran.ended.message) == ("limit", "no notification of ride arrived while its steps ran")
    assert listened("    expect: {ride.count: {max: 100}}\n", silent).ended.exit_code == 1
    assert listened("    expect: {ride.count: {equals: 0}}\n", silent).ended.exit_code == 0


def test_values_that_do_not_fit_are_the_devices() -> None:
    short = SOUND.replace(f"{FIELDS}\n        properties", "[{name: number, as: uint16}]\n        properties")
    short = short.replace(", power: 100 W}\n", "}\n").replace(BOOST, "store: true")
    ran = listened("    expect: {level.count: {min: 1}}\n", short)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert ran.ended.message.startswith("ride, notification 1: ")


def test_a_characteristic_that_is_not_there_leaves_its_steps_out() -> None:
    ran = listened("    expect: {level.count: {min: 1}}\n", SOUND.replace(LEVEL, LEVEL.replace("a001", "a002")))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert [step.ended.verdict for step in ran.record.steps[2:]] == ["skip"] * 3
    assert ran.record.steps[2].ended.message.startswith("step 3 ended before it: ")


# --- the link


def test_the_loss_of_the_link_is_the_links_and_ends_the_streams() -> None:
    ran = listened("    expect: {ride.count: {min: 1}}\n", device(more="faults: {disconnect_after: 2500 ms}"))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.root.label) == ("fail", "link", "3.3")


def test_streams_that_a_lost_link_cut_off_are_not_judged_by_what_came_before() -> None:
    """Also where a step may fail: a stream that is over early lacks nothing up to then."""
    lost = device(more="faults: {disconnect_after: 2500 ms}")
    ran = listened("    expect: {ride.lost: {equals: 0}, level.count: {min: 1}, failed: {max: 1}}\n", lost)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.judged) == ("fail", "link", 0)


def test_a_link_that_is_meant_to_end_ends_the_streams_and_is_no_gap_in_them() -> None:
    """They do not come back with the next connection: what is said of them is of the time before."""
    steps = "      - wait: 2 s\n      - disconnect:\n      - wait: 3 s\n        name: apart\n      - connect:\n      - wait: 1 s\n        name: again\n"
    listen = f"  - listen: {{ride: {{counter: number}}}}\n    steps:\n{steps}"
    ran = listened("    expect: {ride.count: {min: 38, max: 40}, ride.gap_max: {max: 70 ms}}\n", listen=listen)
    assert ran.ended.exit_code == 0, ran.ended.message
    [note] = whole(ran).notes
    assert note.text == "the link ended 2.040 s after the first step began, and with it the streams"


def test_a_step_inside_listens_to_the_same_characteristic() -> None:
    """One subscription for both: the exchange takes its answer, and the stream has it too."""
    steps = """  - listen: {answer: {}}
    steps:
      - exchange: assist
        value: 3
        reply: answer
        expect: {value: {equals: 81 00}}
      - wait: 1 s
"""
    ran = listened("    expect: {answer.count: {equals: 1}, answer.value: {equals: 81 00}}\n", listen=steps)
    assert ran.ended.exit_code == 0, ran.ended.message


def test_a_listen_in_a_listen_and_in_rounds() -> None:
    inner = LISTEN.replace("\n  ", "\n      ").replace("  - listen", "      - listen", 1).rstrip() + "\n"
    outer = "  - listen: {ride: {counter: number}}\n    steps:\n" + inner
    assert listened("    expect: {ride.lost: {equals: 0}, ride.count: {min: 70}}\n", listen=outer).ended.exit_code == 0
    rounds = "  - repeat: 3\n    name: again\n    steps:\n" + inner
    text = rounds + "    expect: {'listen ride, level.ride.count': {min: 70}}\n"
    assert run(plan_text(text, attributes=NAMES), SOUND).ended.exit_code == 0


EVERYTHING = """  - listen: {ride: {counter: number}, answer: }
    steps:
      - {write: assist, value: 3}
      - {exchange: assist, value: 4, reply: answer, answers: {last: {count: 1}}, until: {count: {min: 1}}}
      - {read: level, until: {value: {min: 50 %}}}
    reactions: {boost: {after: write assist, until: {ride.value.power: {min: 250 W}}}}
    expect: {ride.lost: {equals: 0}, boost: {max: 2 s}}
  - {notify: ride, until: {value.number: {min: 15}}}
"""


@pytest.mark.slow
def test_the_link_lost_at_every_pdu() -> None:
    plan, seen = plan_text(EVERYTHING, attributes=NAMES), list[AirPdu]()
    unit = device(BOOST.replace("200 ms", "20 ms"))
    assert run(plan, unit, faults=Faults(fate=seen.append)).ended.exit_code == 0
    for position in range(1, len(seen) + 1):
        ran = run(plan, unit, faults=Faults(kill_at=position))
        assert (ran.tasks_left, ran.stray, ran.ended.cause) == (0, [], "link"), position


# --- before the run


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("listen: {}\n  steps: [{wait: 1 s}]", "listen names no characteristic"),
        ("listen: {batery level: {}}\n  steps: [{wait: 1 s}]", "unknown attribute 'batery level'"),
        ("listen: {'[': {}}\n  steps: [{wait: 1 s}]", "'[' is not the name of an attribute"),
        ("listen: {battery level: {for: 3 s}}\n  steps: [{wait: 1 s}]", "unknown key 'for'"),
        ("listen: {battery level: {counter: number}}\n  steps: [{wait: 1 s}]", "the value has no field 'number' to count by"),
        ("listen: {battery level: {}}\n  steps: []", "'steps' has no steps"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  expect: {battery level.lost: {equals: 0}}", "'battery level.lost' needs a counter"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  expect: {count: {equals: 0}}", "a listen step has no reading 'count'"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  expect: {battery level.value: {max: 5 V}}", "5 V is a voltage, not a ratio"),
        ("listen: {battery level: {}}\n  within: 5 s\n  steps: [{wait: 1 s}]", "a listen step has no deadline"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {a: {after: wait 2 s, until: {battery level.value: {max: 5 %}}}}\n  expect: {a: {max: 1 s}}", "no step in it is named 'wait 2 s'"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {a: {after: wait 1 s, until: {battery level.value: {max: 5 %}}}}", "nothing is expected of the reaction 'a'"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {failed: {after: wait 1 s, until: {battery level.value: {max: 5 %}}}}", "'failed' cannot be the name of a reaction"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {a: {after: wait 1 s, until: {}}}\n  expect: {a: {max: 1 s}}", "until names no reading"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {a: {after: wait 1 s, until: {battery level.count: {min: 5}}}}\n  expect: {a: {max: 1 s}}", "no reading 'battery level.count'"),
        ("listen: {battery level: {}}\n  steps: [{wait: 1 s}]\n  reactions: {a: {after: wait 1 s, until: {battery level.value: {min: 101 %}}}}\n  expect: {a: {max: 1 s}}", "the reading is 0 to 100 %, so nothing could pass"),
        ("listen: {battery level: {}}\n  steps: [{repeat: 3, steps: [{wait: 1 s}]}]\n  reactions: {a: {after: wait 1 s, until: {battery level.value: {max: 5 %}}}}\n  expect: {a: {max: 1 s}}", "'wait 1 s' runs in many rounds"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_before_the_run(step: str, message: str) -> None:
    [problem] = problems_of(with_steps(f"- {step}"))
    assert message in problem.message
    assert problem.advice


def test_a_listen_needs_a_link() -> None:
    text = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\nsteps:\n  - listen: {battery level: {}}\n    steps: [{wait: 1 s}]\n"
    assert any("connect" in problem.message for problem in problems_of(text))
