"""notify and exchange through whole runs: streams, sequences, answers."""

from __future__ import annotations

import pytest

from benchrig.radio.virtual.faults import DROPPED, AirPdu, Fate, Faults
from tests.run.kit import Ran, device_text, plan_text, run

STREAM, COMMAND, REPLY = (f"7b1f000{n}-4d1e-4b6f-9a57-2f3c1de0a001" for n in (2, 3, 4))
NAMES = f"""
    stream:
      uuid: {STREAM}
      fields: [{{name: number, as: uint8}}, {{name: supply, as: uint16, unit: mV}}]
    command: {{uuid: {COMMAND}, as: hex}}
    reply: {{uuid: {REPLY}, as: hex}}
"""
COUNTER = "{counter: {}}"


def device(
    number: str = COUNTER, *, properties: str = "notify", notify: str = "period: 50 ms", supply: str = "3000 mV"
) -> str:
    return device_text(f"""
services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - characteristic: {STREAM}
        name: stream
        fields: [{{name: number, as: uint8}}, {{name: supply, as: uint16, unit: mV}}]
        properties: [{properties}]
        value: {{number: {number}, supply: {supply}}}
        notify: {{{notify}}}
""")


def heard(limits: str, how: str = "for: 2 s", *, more: str = "", device: str = device()) -> Ran:
    return run(plan_text(f"  - notify: stream\n    {how}\n{more}    expect: {{{limits}}}\n", attributes=NAMES), device)


@pytest.mark.parametrize(
    ("passes", "fails"),
    [
        ("count: {min: 39, max: 40}", "count: {min: 41}"),
        ("rate: {nominal: 20 Hz, tolerance: 1 %}", "rate: {min: 21 Hz}"),
        ("first_after: {max: 200 ms}", "first_after: {max: 10 ms}"),
        ("gap_max: {max: 70 ms}", "gap_max: {max: 40 ms}"),
        ("gap_p95: {max: 70 ms}", "gap_p95: {max: 40 ms}"),
        ("length: {equals: 3 bytes}", "length: {equals: 4 bytes}"),
        # 20 values of 24 bits a second
        ("throughput: {nominal: 0.48 kbit/s, tolerance: 1 %}", "throughput: {min: 1 kbit/s}"),
        ("value.supply: {equals: 3000 mV}", "value.supply: {max: 2.9 V}"),
        ("value.number: {max: 60}", "value.number: {max: 10}"),
    ],
)
def test_every_reading_of_notify(passes: str, fails: str) -> None:
    assert heard(passes).ended.exit_code == 0
    failed = heard(fails)
    assert (failed.ended.verdict, failed.ended.cause, failed.ended.exit_code) == ("fail", "limit", 1)


@pytest.mark.parametrize(
    ("numbers", "lost", "duplicated"),
    [
        ("{counter: {}}", 0, 0),
        ("{counter: {start: 250, modulo: 256}}", 0, 0),
        ("{sequence: [0, 1, 2, 4, 5, 6, 7, 8, 9, 10]}", 1, 0),
        ("{sequence: [0, 1, 2, 5, 6, 9, 10, 11, 12, 13]}", 4, 0),
        ("{sequence: [0, 1, 2, 2, 3, 4, 5, 6, 7, 8]}", 0, 1),
        ("{sequence: [254, 255, 1, 2, 3, 3, 4, 5, 6, 7]}", 1, 1),
    ],
)
def test_a_sequence_that_skips_or_repeats(numbers: str, lost: int, duplicated: int) -> None:
    limits = f"lost: {{equals: {lost}}}, duplicated: {{equals: {duplicated}}}"
    more = "    counter: number\n"
    assert heard(limits, "count: 10", more=more, device=device(numbers)).ended.exit_code == 0
    wrong = f"lost: {{equals: {lost + 1}}}, duplicated: {{equals: {duplicated + 1}}}"
    failed = heard(wrong, "count: 10", more=more, device=device(numbers))
    assert [r.judgement.passed for r in failed.step(3).readings if r.judgement] == [False, False]


def test_exactly_so_many_are_counted() -> None:
    ran = heard("count: {equals: 7}", "count: 7")
    assert (ran.ended.exit_code, ran.reading(3, "value.number").samples.count) == (0, 7)


def test_too_few_fail_with_how_many_came() -> None:
    ended = heard("value.supply: {min: 1 V}", "count: 7", device=device(notify="period: 50 ms, count: 3")).ended
    assert (ended.verdict, ended.cause) == ("fail", "limit")
    assert ended.message.startswith("only 3 of 7 notifications arrived within ")


def test_no_sample_fails_every_limit_on_samples() -> None:
    failed = heard(
        "value.supply: {min: 1 V}, rate: {min: 1 Hz}, gap_max: {max: 1 s}", device=device(notify="period: 30 s")
    )
    judged = {r.name: r.judgement for r in failed.step(3).readings if r.judgement}
    assert [judgement.passed for judgement in judged.values()] == [False] * 3
    assert judged["value.supply"].sentence == "no sample arrived that could be judged"


def test_the_samples_outside_are_counted_and_the_first_is_shown() -> None:
    failed = heard(
        "value.supply: {max: 3100 mV}", device=device(supply="{sequence: [3000 mV, 3000 mV, 3200 mV, 3000 mV]}")
    )
    reading = failed.reading(3, "value.supply")
    assert (reading.samples.count, reading.samples.outside, reading.samples.first_outside) == (40, 10, 2)
    assert (reading.samples.minimum, reading.samples.maximum) == (3000, 3200)
    assert reading.raw == "02800C", "the octets of the first sample outside: number 2, 3200 mV"
    assert reading.judgement.sentence.startswith("10 of 40 samples outside; the first, number 3 at ")


def test_of_bytes_the_first_outside_is_shown() -> None:
    numbers = "{sequence: [255, 170, 187, 255]}"
    plan = plan_text(f"  - notify: {STREAM}\n    count: 4\n    within: 5 s\n    expect: {{value: {{contains: FF}}}}\n")
    reading = run(plan, device(numbers, supply="0 mV")).reading(f"notify {STREAM}")
    assert (reading.value, reading.raw) == ("AA0000", "AA0000")


def test_indications_are_heard_like_notifications() -> None:
    assert heard("count: {min: 15}", device=device(properties="indicate")).ended.exit_code == 0


def test_a_malformed_sample_fails_the_device_and_the_others_count() -> None:
    # two octets where three are due, sent in answer to a write
    text = (
        device()
        + f"""      - characteristic: {COMMAND}
        name: command
        as: hex
        properties: [write, notify]
        raw: '01'
        notify: {{period: 100 ms, count: 5}}
"""
    )
    names = NAMES.replace(f"{{uuid: {COMMAND}, as: hex}}", f"{{uuid: {COMMAND}, as: uint16}}")
    steps = "  - notify: command\n    for: 1 s\n    expect: {count: {equals: 5}}\n"
    failed = run(plan_text(steps, attributes=names), text)
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "device")
    assert failed.ended.message.startswith("command, notification 1: ")
    assert "(bytes 01)" in failed.ended.message
    assert failed.reading(3, "count").judgement.passed


def test_two_steps_listen_to_one_characteristic_one_after_the_other() -> None:
    step = "  - notify: stream\n    name: {name}\n    for: 1 s\n    expect: {{count: {{min: 19}}}}\n"
    ran = run(plan_text(step.format(name="first") + step.format(name="second"), attributes=NAMES), device())
    assert ran.ended.exit_code == 0


# --- exchange


def answering(on_write: str) -> str:
    return device_text(f"""
services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {COMMAND}, name: command, as: hex, properties: [write, write without response, notify], value: '00',
          on_write: {on_write}}}
      - {{characteristic: {REPLY}, name: reply, as: hex, properties: [notify], value: '00', notify: {{period: 2 ms}}}}
""")


ECHO = answering("{store: false, notify: {command: '81 00'}}")


def asked(more: str, device: str = ECHO) -> Ran:
    return run(plan_text(f"  - exchange: command\n    raw: '01'\n{more}", attributes=NAMES), device)


@pytest.mark.parametrize(
    ("passes", "fails"),
    [
        ("value: {equals: '81 00'}", "value: {equals: '81 01'}"),
        ("response_time: {max: 1 s}", "response_time: {max: 1 ms}"),
        ("att_error: {equals: none}", "att_error: {equals: out of range}"),
    ],
)
def test_every_reading_of_exchange(passes: str, fails: str) -> None:
    for limits, code in ((passes, 0), (fails, 1)):
        assert asked(f"    expect: {{{limits}}}\n").ended.exit_code == code


def test_the_answer_may_come_from_another_attribute() -> None:
    there = answering("{store: false, notify: {reply: '82 05'}}")
    picked = "    reply: reply\n    starts_with: '82'\n    expect: {value: {equals: '82 05'}}\n"
    assert asked(picked, there).ended.exit_code == 0, "what comes in between is left alone"
    assert asked("    reply: reply\n    expect: {value: {equals: '82 05'}}\n", there).ended.exit_code == 1


def test_no_answer_is_the_devices_fault() -> None:
    ended = asked("    within: 1 s\n", answering("{store: false}")).ended
    assert (ended.verdict, ended.cause) == ("fail", "device")
    assert ended.message.startswith("no answer on command within ")


def test_an_answer_that_starts_otherwise_is_none() -> None:
    ended = asked("    within: 1 s\n    starts_with: '99'\n").ended
    assert ended.cause == "device"
    assert ended.message.endswith(" of the write: 1 notification arrived, it does not begin with 99; it is 81 00")
    many = asked("    within: 1 s\n    reply: reply\n    starts_with: '99'\n").ended
    assert many.message.endswith(" notifications arrived, none begins with 99; the last is 00")


def test_a_refused_command() -> None:
    refusing = answering("{att_error: out of range}")
    assert asked("", refusing).ended.cause == "device"
    assert asked("    expect: {att_error: {equals: out of range}}\n", refusing).ended.exit_code == 0


def test_an_exchange_without_response() -> None:
    assert asked("    response: false\n    expect: {value: {equals: '81 00'}}\n").ended.exit_code == 0


def test_others_that_could_be_the_answer_are_told() -> None:
    there = answering("{store: false, notify: {reply: '82 05'}}")
    ran = asked("    reply: reply\n", there)
    assert "other notification" in ran.step(3).notes[-1].text
    assert "use 'starts_with' to pick the answer" in ran.step(3).notes[-1].text
    picked = asked("    reply: reply\n    starts_with: '82'\n", there)
    assert len(picked.step(3).notes) == 1, "only what it sends"


def test_an_exchange_that_fails_ends_its_subscription() -> None:
    """Else the stream would run on, and its next value came sooner than one period after the second step asks."""
    silent = answering("{store: false}").replace("period: 2 ms", "period: 2 s")
    steps = """  - exchange: command
    raw: '01'
    reply: reply
    starts_with: 'FF'
    within: 3100 ms
  - notify: reply
    for: 3 s
    expect: {first_after: {min: 1.9 s}}
"""
    ran = run(plan_text(steps, attributes=NAMES), silent)
    assert [ran.step(n).ended.verdict for n in (3, 4)] == ["fail", "pass"]


@pytest.mark.parametrize("step", ["notify: reply/client characteristic configuration\n    for: 1 s", "exchange: command\n    raw: '01'\n    reply: reply/client characteristic configuration"])  # fmt: skip
def test_only_a_characteristic_sends_by_itself(step: str) -> None:
    ended = run(plan_text(f"  - {step}\n", attributes=NAMES), ECHO).ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)
    assert "is not a characteristic" in ended.message


@pytest.mark.parametrize(
    ("limit", "code"),
    [("max: 100", 1), ("min: 0, max: 100", 0), ("max: 0", 0), ("equals: 0", 0), ("one_of: [0, 5]", 0)],
)
@pytest.mark.parametrize("listen", ["for: 2 s", "count: 100\n    within: 3 s"])
def test_silence_passes_only_where_the_limit_on_the_count_means_it(listen: str, limit: str, code: int) -> None:
    device = device_text("""services:
  - service: battery
    characteristics: [{characteristic: battery level, properties: [notify], value: 50 %, notify: {period: 1 h}}]
""")
    step = f"  - notify: battery level\n    {listen}\n    expect: {{count: {{{limit}}}}}\n"
    assert run(plan_text(step), device).ended.exit_code == code


# --- notifications or indications

NOTIFICATION, INDICATION = 0x1B, 0x1D


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("offered", "mode", "sent"),
    [
        ("notify, indicate", "", NOTIFICATION),
        ("notify, indicate", "    mode: notification\n", NOTIFICATION),
        ("notify, indicate", "    mode: indication\n", INDICATION),
        ("indicate", "    mode: indication\n", INDICATION),
    ],
)
def test_what_is_asked_for_is_sent(offered: str, mode: str, sent: int, air: str) -> None:
    opcodes = []
    faults = Faults(fate=lambda pdu: opcodes.append(pdu.att_opcode))
    step = f"  - notify: stream\n    for: 1 s\n{mode}    counter: number\n    expect: {{lost: {{equals: 0}}, count: {{min: 5}}}}\n"
    unit = device(properties=offered)
    assert run(plan_text(step, attributes=NAMES), unit, faults=faults, air=air).ended.exit_code == 0
    assert {*opcodes} & {NOTIFICATION, INDICATION} == {sent}


@pytest.mark.parametrize(("offered", "mode"), [("notify", "indication"), ("indicate", "notification")])
def test_a_mode_that_is_not_offered_fails_the_device(offered: str, mode: str) -> None:
    ran = heard("count: {min: 1}", more=f"    mode: {mode}\n", device=device(properties=offered))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    missing = {"indication": "indicate", "notification": "notify"}[mode]
    assert ran.ended.message == f"stream does not offer {missing}; its properties: {offered}"


def test_a_device_that_only_claims_indications_fails() -> None:
    """It sends none, whatever it was told to send."""

    def fate(pdu: AirPdu) -> Fate:
        return DROPPED if pdu.att_opcode == INDICATION else None

    step = "  - notify: stream\n    for: 1 s\n    mode: indication\n"
    ran = run(plan_text(step, attributes=NAMES), device(properties="notify, indicate"), faults=Faults(fate=fate))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "limit")
    assert ran.ended.message == "no notification arrived in 1 s"
