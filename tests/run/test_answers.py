"""Several answers that are one value, through whole runs: joined, judged whole, and what is told when pieces fail."""

from __future__ import annotations

import pytest

from tests.plan.building import problems_of, with_steps
from tests.run.kit import Ran, device_text, plan_text, run

COMMAND, REPLY = (f"7b1f000{n}-4d1e-4b6f-9a57-2f3c1de0a001" for n in (3, 4))
NAMES = f"""
    command: {{uuid: {COMMAND}, as: hex}}
    reply: {{uuid: {REPLY}, as: hex}}
"""
SEVERAL = ["00 A1 A2", "01 A3 A4", "02 A5 A6", "FF A7"]


def sending(answer: str, *, more: str = "") -> str:
    return device_text(
        f"""services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {COMMAND}, name: command, as: hex, properties: [write], value: '00',
          on_write: {{store: false, check: false, notify: {{reply: {answer}}}}}}}
      - {{characteristic: {REPLY}, name: reply, as: hex, properties: [notify], value: '00'}}
""",
        more=more,
    )


def several(*pieces: str, more: str = "") -> str:
    listed = ", ".join(f"'{piece}'" for piece in pieces)
    return sending(f"{{several: [{listed}], every: 50 ms}}", more=more)


def asked(answers: str, device: str, more: str = "", *, air: str = "kind", seed: int = 1) -> Ran:
    keys = f"    raw: '02'\n    reply: reply\n    answers: {answers}\n    within: 4 s\n"
    return run(plan_text(f"  - exchange: command\n{keys}{more}", attributes=NAMES), device, air=air, seed=seed)


WHOLE = "{last: {starts_with: FF}, skip: 1, counter: 0}"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("answers", "pieces", "value"),
    [
        (WHOLE, SEVERAL, "A1A2A3A4A5A6A7"),
        ("{last: {starts_with: FF}}", SEVERAL, "00A1A201A3A402A5A6FFA7"),
        ("{last: {shorter_than: 3}, skip: 1}", SEVERAL, "A1A2A3A4A5A6A7"),
        ("{last: {shorter_than: payload}, skip: 1}", SEVERAL, "A1A2"),
        ("{last: {count: 3}, skip: 1}", SEVERAL, "A1A2A3A4A5A6"),
        ("{last: {equals: FF A7}, skip: 1}", SEVERAL, "A1A2A3A4A5A6"),
        ("{last: {equals: FF}, skip: 2}", ["00 01 A1", "00 02 A2", "FF"], "A1A2"),
        ("{last: {count: 1}, skip: 1}", ["01"], ""),
    ],
)
def test_the_answers_are_joined(answers: str, pieces: list[str], value: str, air: str) -> None:
    ran = asked(answers, several(*pieces), "    expect: {response_time: {max: 2 s}}\n", air=air)
    assert (ran.ended.exit_code, ran.reading(3).value) == (0, value)


@pytest.mark.parametrize(
    ("passes", "fails"),
    [
        ("value: {equals: A1 A2 A3 A4 A5 A6 A7}", "value: {equals: A1 A2}"),
        ("raw: {length: 7}", "raw: {length: 8}"),
        ("length: {equals: 7 bytes}", "length: {min: 8 bytes}"),
        ("count: {equals: 4}", "count: {max: 3}"),
        ("lost: {equals: 0}, duplicated: {equals: 0}", "lost: {min: 1}"),
        ("gap_max: {max: 80 ms}", "gap_max: {max: 10 ms}"),
        ("elapsed: {min: 150 ms, max: 400 ms}", "elapsed: {max: 100 ms}"),
        ("response_time: {max: 200 ms}", "response_time: {max: 1 ms}"),
        # 5 bytes after the first answer in 150 ms
        ("throughput: {nominal: 0.27 kbit/s, tolerance: 10 %}", "throughput: {min: 1 kbit/s}"),
    ],
)
def test_every_reading_of_several_answers(passes: str, fails: str) -> None:
    sound = several(*SEVERAL)
    assert asked(WHOLE, sound, f"    expect: {{{passes}}}\n").ended.exit_code == 0
    failed = asked(WHOLE, sound, f"    expect: {{{fails}}}\n")
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit")


def test_the_whole_has_a_format_and_a_crc() -> None:
    form = "    format: {fields: [{name: size, as: uint16}, {name: text, as: utf8}]}\n"
    limits = "    expect: {value.size: {equals: 769}, value.text: {equals: 'abcde'}}\n"
    assert (
        asked("{last: {count: 2}, skip: 1}", several("00 01 03 61 62", "01 63 64 65"), form + limits).ended.exit_code
        == 0
    )
    sent = "{pieces: '{written}', header: '01', last: 'FF', crc: CRC-16/XMODEM, size: 20}"
    checked = "    expect: {value: {crc: CRC-16/XMODEM}, length: {equals: 202 bytes}, count: {min: 10}}\n"
    body = bytes(range(200)).hex()
    answers = "{last: {starts_with: FF}, skip: 1}"

    def long(device: str) -> Ran:
        steps = f"  - exchange: command\n    raw: '{body}'\n    reply: reply\n    answers: {answers}\n{checked}"
        return run(plan_text(steps, attributes=NAMES), device)

    assert long(sending(sent)).ended.exit_code == 0
    assert long(sending(sent.replace("XMODEM", "IBM-3740"))).ended.cause == "limit"


FAULTY = {
    "a piece that is lost": (["00 A1 A2", "02 A5 A6", "FF A7"], "1 lost, 0 duplicated"),
    "a piece that is sent twice": (["00 A1 A2", "01 A3 A4", "01 A3 A4", "FF A7"], "0 lost, 1 duplicated"),
    "pieces in another order": (["00 A1 A2", "02 A5 A6", "01 A3 A4", "FF A7"], "1 lost, 1 duplicated"),
}


@pytest.mark.parametrize("fault", FAULTY)
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_pieces_that_are_no_whole_fail_without_a_limit(fault: str, air: str) -> None:
    pieces, said = FAULTY[fault]
    ran = asked(WHOLE, several(*pieces), air=air)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert said in ran.ended.message
    judged = asked(WHOLE, several(*pieces), "    expect: {lost: {equals: 0}, duplicated: {equals: 0}}\n", air=air)
    assert (judged.ended.verdict, judged.ended.cause) == ("fail", "limit")


@pytest.mark.parametrize(
    ("fault", "limit"), [("a piece that is lost", "duplicated"), ("a piece that is sent twice", "lost")]
)
def test_a_limit_on_the_one_decides_nothing_about_the_other(fault: str, limit: str) -> None:
    pieces, said = FAULTY[fault]
    ran = asked(WHOLE, several(*pieces), f"    expect: {{{limit}: {{equals: 0}}}}\n")
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert said in ran.ended.message


@pytest.mark.parametrize(
    ("answers", "pieces", "said"),
    [
        ("{last: {starts_with: FE}}", SEVERAL, "4 answers arrived on reply within "),
        ("{last: {starts_with: FE}}", SEVERAL, "and none began with FE; the last is FF A7"),
        ("{last: {equals: FE}}", SEVERAL, "and none was FE"),
        ("{last: {shorter_than: 2}}", SEVERAL, "and none was shorter than 2 bytes"),
        ("{last: {count: 5}}", SEVERAL, "and 5 were expected"),
        ("{last: {count: 5}}", ["01"], "and 5 were expected; it is 01"),
        ("{last: {count: 4}, skip: 3}", ["00 01 02 03", "01"], "answer 2 is shorter than its header of 3 bytes"),
        ("{last: {starts_with: FE}, most: 10}", SEVERAL, "more than 10 bytes arrived, and none began with FE"),
    ],
)
def test_answers_that_do_not_end(answers: str, pieces: list[str], said: str) -> None:
    ran = asked(answers, several(*pieces))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert said in ran.ended.message


def test_the_link_that_is_lost_between_two_answers() -> None:
    ran = asked(
        WHOLE, several(*SEVERAL[:3], *SEVERAL[1:], more="faults: {disconnect_after: 400 ms}").replace("50 ms", "200 ms")
    )
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")


def test_asking_again_for_several_answers() -> None:
    ran = asked(WHOLE, several(*SEVERAL), "    until: {length: {equals: 7 bytes}, count: {min: 4}}\n")
    assert (ran.ended.exit_code, ran.reading(3, "tries").value) == (0, 1)
    never = asked(WHOLE, several(*SEVERAL), "    until: {length: {equals: 8 bytes}}\n")
    assert never.reading(3, "reached_after").judgement.sentence.startswith(
        "not reached: expected length equals 8 bytes; found 7 bytes after "
    )


@pytest.mark.parametrize(
    ("answers", "message"),
    [
        ("{skip: 1}", "the key 'last' is missing"),
        ("{last: {}}", "the last answer is told by one key, this has none"),
        ("{last: {count: 3, equals: FF}}", "the last answer is told by one key, this has equals, count"),
        ("{last: {starts_with: F}}", "expected bytes as hex text"),
        ("{last: {shorter_than: 0}}", "expected a number of bytes or 'payload', found the number 0"),
        ("{last: {shorter_than: paylod}}", "expected a number of bytes or 'payload'"),
        ("{last: {count: 0}}", "count must be at least 1"),
        ("{last: {count: 3}, counter: 0}", "the counter is a byte of the header, from 0; skip is 0"),
        ("{last: {count: 3}, most: 0}", "most must be from 1 to 16777216 bytes"),
        ("{last: {count: 3}, skip: -1}", "skip must be 0 bytes or more"),
    ],
)
def test_answers_that_cannot_be(answers: str, message: str) -> None:
    [problem] = problems_of(with_steps(f"- exchange: battery level\n  raw: '01'\n  answers: {answers}"))
    assert message in problem.message
    assert problem.advice


@pytest.mark.parametrize("name", ["count", "lost"])
def test_readings_that_need_several_answers(name: str) -> None:
    [problem] = problems_of(with_steps(f"- exchange: battery level\n  raw: '01'\n  expect: {{{name}: {{min: 1}}}}"))
    assert name in problem.message


def advice_of(ran: Ran) -> str:
    ended = ran.step(3).ended
    return ended.advice if ended else "none"


def test_a_forgotten_reply_is_what_the_advice_names() -> None:
    ran = run(plan_text("  - exchange: command\n    raw: '02'\n", attributes=NAMES), several("01"))
    assert (ran.ended.cause, "add reply:" in advice_of(ran)) == ("device", True)
    ran = run(plan_text("  - exchange: command\n    raw: '02'\n    reply: command\n", attributes=NAMES), several("01"))
    assert (ran.ended.cause, advice_of(ran)) == ("device", "")
