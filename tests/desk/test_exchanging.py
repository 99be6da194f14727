"""One exchange with a device: what is written, and what answers it."""

from __future__ import annotations

import pytest

from benchrig.desk.desk import Desk
from benchrig.desk.exchanging import Exchanged, Inquiry, exchange, make_ready
from benchrig.desk.typed_answers import answers_data, typed_answers
from benchrig.desk.writing import Order, Sending
from benchrig.errors import AttributeMissing, BenchrigError, LinkLost, MalformedPdu, NoAnswer, UsageError
from benchrig.plan.brought import bring
from benchrig.steps.answers import Answers
from tests.desk.kit import at_desk
from tests.run.kit import DEVICES, PLANS, device_text

BOX = DEVICES / "transport_box.yaml"
NAMES = bring(PLANS / "names" / "transport_box.yaml").names
UUID = "23740003-83ba-42c1-848d-5757931364b7"
ANSWERING = """services:
  - service: 23740001-83ba-42c1-848d-5757931364b7
    characteristics:
      - {characteristic: 23740003-83ba-42c1-848d-5757931364b7, properties: [write, notify], as: hex, value: '', on_write: REACTION}
"""


def asked(
    raw: str, *, device: str = "", reply: str = "answer", starts_with: str = "", answers: Answers | None = None
) -> Exchanged:
    """What the transport box, or another device, answers."""
    order = Order(UUID if device else "control", data=bytes.fromhex(raw))
    inquiry = Inquiry(order, "" if device else reply, bytes.fromhex(starts_with), answers)

    async def work(desk: Desk) -> Exchanged:
        _, link = await desk.reach()
        done, data = await exchange(desk, link, await make_ready(desk, link, inquiry), Sending())
        assert done.answer.data == data
        return done

    return at_desk(work, device or BOX, names=NAMES)


def reacting(reaction: str) -> str:
    return device_text(ANSWERING.replace("REACTION", reaction))


def test_one_answer_and_several() -> None:
    one = asked("04 AA BB", starts_with="84")
    assert (one.written.raw, one.answer.raw, one.count) == ("04AABB", "84AABB", None)
    assert 0 < one.response_time < 1
    log = asked("05", answers=typed_answers({"--last-starts-with": "FF", "--skip": "1"}))
    assert (log.count, len(log.answer.data)) == (5, 4 + 12 * 7 + 2)
    assert log.response_time < (log.elapsed or 0)


@pytest.mark.parametrize(
    ("reaction", "answers", "error", "said"),
    [
        ("{}", {}, NoAnswer, "no answer on"),
        ("{disconnect: true}", {}, LinkLost, "the link was lost"),
        ("{notify: {here: '01'}}", {"--last-count": "2"}, NoAnswer, "1 answer arrived on .* and 2 were expected"),
        ("{notify: {here: '01'}}", {"--last-count": "2", "--skip": "2"}, MalformedPdu, "shorter than its header"),
    ],
)
def test_what_does_not_answer(reaction: str, answers: dict[str, str], error: type[BenchrigError], said: str) -> None:
    with pytest.raises(error, match=said):
        asked("01", device=reacting(reaction.replace("here", UUID)), answers=typed_answers(answers))


@pytest.mark.parametrize(
    ("pieces", "lost", "duplicated"),
    [("00 AA 01 BB 02 CC", 0, 0), ("00 AA 02 CC 03 CC", 1, 0), ("00 AA 00 AA 01 BB", 0, 1)],
)
def test_answers_that_are_counted(pieces: str, lost: int, duplicated: int) -> None:
    reaction = f"{{notify: {{{UUID}: {{pieces: {pieces}, size: 2}}}}}}"
    done = asked(
        "01", device=reacting(reaction), answers=typed_answers({"--last-count": "3", "--skip": "1", "--counter": "0"})
    )
    assert (done.lost, done.duplicated) == (lost, duplicated)
    assert bool(done.error) == bool(lost or duplicated)


def test_what_cannot_answer_is_not_written() -> None:
    with pytest.raises(AttributeMissing, match="does not offer notify or indicate"):
        asked("03", reply="settings")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"--skip": "1"}, "--skip goes with several answers"),
        ({"--last-count": "two"}, "--last-count: expected a whole number, found the text 'two'"),
        ({"--last-count": "0"}, "count must be at least 1"),
        ({"--last-starts-with": "xy"}, "hex"),
        ({"--last-starts-with": "FF", "--last-count": "2"}, "told by one key, this has starts_with, count"),
        ({"--last-count": "2", "--counter": "1", "--skip": "1"}, "the counter is a byte of the header"),
        ({"--last-shorter-than": "paylod"}, "paylod"),
    ],
)
def test_options_that_mean_nothing(options: dict[str, str], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        typed_answers(options)


@pytest.mark.parametrize(
    ("options", "data"),
    [
        ({"--last-starts-with": "FF", "--skip": "1"}, {"last": {"starts_with": "FF"}, "skip": 1}),
        ({"--last-shorter-than": "payload"}, {"last": {"shorter_than": "payload"}}),
        ({"--last-shorter-than": "20"}, {"last": {"shorter_than": 20}}),
        ({"--last-count": "3", "--skip": "2", "--counter": "0"}, {"last": {"count": 3}, "skip": 2, "counter": 0}),
    ],
)
def test_a_plan_writes_them_so(options: dict[str, str], data: object) -> None:
    answers = typed_answers(options)
    assert answers is not None
    assert answers_data(answers) == data


def test_without_options_there_is_one_answer() -> None:
    assert typed_answers({"--raw": "01"}) is None
