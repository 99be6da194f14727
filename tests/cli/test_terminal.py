"""`benchrig run` on a pseudo-terminal: what it asks, how it is answered, and what Ctrl-C does there."""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.kit import Files, OnTerminal, files
from tests.cli.screen import attended, mode

READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
WRITE = "  - write: temperature\n    value: 1 °C\n    expect: {elapsed: {max: 1 s}}\n"
CAUTION = "caution: Mind the relay.\n"
LAMP = "  - ask: Does the lamp light?\n    expect: {answer: {equals: true}}\n"
CLEANUP = "finally:\n  - read: temperature\n    name: last look\n"
CTRL_C, CTRL_D = "\x03", "\x04"


def on_terminal(bench: Files, *more: str, columns: int = 100, **env: str) -> OnTerminal:
    return OnTerminal(bench.folder, "run", "plan.yaml", "--radio", bench.radio, *more, columns=columns, **env)


@dataclass
class Answered:
    """A run that was answered: its exit code, what was asked and typed, and what was said beside it."""

    code: int
    asked: str
    said: str


def answered(bench: Files, *script: tuple[str, str], more: tuple[str, ...] = ()) -> Answered:
    """Run the plan in this process; each text that is asked, and what is typed then."""
    with contextlib.chdir(bench.folder):
        done, terminal = attended("run", "plan.yaml", "--radio", bench.radio, *more, script=script)
    assert terminal.is_done, f"not asked: {terminal.written}"
    return Answered(done.exit_code, terminal.all_written, done.stderr)


def record_of(bench: Files) -> Record:
    [path] = bench.records()
    return read_record(path)


SERIAL = READ + "  - read: temperature\n    name: '${serial}'\n"
WORD = "Type 'yes' to acknowledge and continue, 'no' to stop:"


def test_a_missing_value_is_typed_or_scanned(tmp_path: Path) -> None:
    bench = files(tmp_path, SERIAL, head="given: {serial: {}}\n")
    assert answered(bench, ("serial:", "A7\n")).code == 0
    assert record_of(bench).run.given == {"serial": "A7"}


def test_a_typed_value_that_the_plan_refuses_is_asked_for_again(tmp_path: Path) -> None:
    bench = files(tmp_path, SERIAL, head="given: {serial: {matches: 'A\\d'}}\n")
    done = answered(bench, ("serial:", "B7\n"), ("serial:", "\n"), ("serial:", "A8\n"))
    assert done.code == 0
    assert "'B7' does not match" in done.said
    assert "please type an answer" in done.said
    assert record_of(bench).run.given == {"serial": "A8"}


def test_all_that_may_be_answered_is_in_the_question(tmp_path: Path) -> None:
    bench = files(tmp_path, SERIAL, head="given: {serial: {prompt: Colour, one_of: [white, blue]}}\n")
    assert answered(bench, ("Colour (white, blue):", "blue\n")).code == 0


def test_a_label_is_asked_for_with_the_plans_words_until_it_has_the_value(tmp_path: Path) -> None:
    head = "given: {serial: {prompt: Scan the label, part: 'SN=(?P<serial>.+)'}, lot: {record: true}}\n"
    bench = files(tmp_path, SERIAL, head=head)
    done = answered(bench, ("Scan the label:", "A7\n"), ("Scan the label:", "SN=A7\n"), ("lot:", "9\n"))
    assert done.code == 0
    assert (
        "expected text with the serial in it (Scan the label), found 'A7'; its form is 'SN=(?P<serial>.+)'" in done.said
    )
    run = record_of(bench).run
    assert (run.given, run.scanned) == ({"serial": "A7", "lot": "9"}, {"serial": "SN=A7"})


def test_the_caution_is_acknowledged_with_a_word_not_with_enter(tmp_path: Path) -> None:
    bench = files(tmp_path, WRITE, head=CAUTION)
    done = answered(bench, (WORD, "\n"), (WORD, "yes\n"))
    assert done.code == 0
    assert "CAUTION  Mind the relay." in done.said
    assert record_of(bench).notes[0].text == "caution acknowledged at the terminal: Mind the relay."


def test_the_caution_is_not_acknowledged(tmp_path: Path) -> None:
    bench = files(tmp_path, WRITE, head=CAUTION)
    assert answered(bench, (WORD, "no\n")).code == 2
    assert record_of(bench).ended.cause == "operator"
    assert record_of(bench).unit is None, "no radio was opened"


@pytest.mark.parametrize(("answer", "code"), [("y\n", 0), ("maybe\nyes\n", 0), ("n\n", 1)])
def test_a_question_is_answered(tmp_path: Path, answer: str, code: int) -> None:
    done = answered(files(tmp_path, LAMP), ("Does the lamp light? [y/n]", answer))
    assert done.code == code
    assert ("please answer y or n" in done.said) == answer.startswith("maybe")


@pytest.mark.parametrize("typed", ["9\n2\n", "green\n"])
def test_a_choice_is_answered_by_number_or_name(tmp_path: Path, typed: str) -> None:
    step = "  - ask: Which colour\n    kind: choice\n    options: [red, green]\n    expect: {answer: {equals: green}}\n"
    done = answered(files(tmp_path, step), ("1 to 2, or the word:", typed))
    assert done.code == 0
    assert "  2  green" in done.said


def test_a_text_is_answered(tmp_path: Path) -> None:
    step = "  - ask: Label\n    kind: text\n    expect: {answer: {equals: Zürich 7}}\n"
    assert answered(files(tmp_path, step), ("Label:", "Zürich 7\n")).code == 0


def test_ctrl_c_at_a_question_ends_with_2_and_cleans_up(tmp_path: Path) -> None:
    bench = files(tmp_path, LAMP + "  - wait: 50 s\n", cleanup=CLEANUP)
    assert answered(bench, ("[y/n]", CTRL_C)).code == 2
    assert [step.ended.verdict for step in record_of(bench).steps] == ["pass", "pass", "error", "skip", "pass"]


def test_ctrl_c_at_the_caution_opens_nothing(tmp_path: Path) -> None:
    bench = files(tmp_path, WRITE, head=CAUTION)
    assert answered(bench, (WORD, CTRL_C)).code == 2
    assert record_of(bench).unit is None


def test_ctrl_c_at_a_missing_value_ends_with_2(tmp_path: Path) -> None:
    done = answered(files(tmp_path, SERIAL, head="given: {serial: {}}\n"), ("serial:", CTRL_C))
    assert done.code == 2
    assert "benchrig: interrupted" in done.said


def test_the_end_of_the_input_at_a_question(tmp_path: Path) -> None:
    bench = files(tmp_path, LAMP)
    assert answered(bench, ("[y/n]", CTRL_D)).code == 2
    assert record_of(bench).ended.message == "no answer (end of input)"


def test_a_question_has_a_deadline(tmp_path: Path) -> None:
    bench = files(tmp_path, LAMP.replace("    expect", "    within: 300 ms\n    expect"))
    assert answered(bench, ("[y/n]", "")).code == 2
    assert record_of(bench).ended.cause == "operator"


@pytest.mark.slow
def test_on_a_terminal_what_was_typed_before_a_question_answers_nothing_(tmp_path: Path) -> None:
    bench = files(tmp_path, "  - wait: 1 s\n" + LAMP)
    with on_terminal(bench, "--real-time") as terminal:
        before = mode(terminal)
        terminal.until("wait 1 s")
        terminal.type("n\nn")
        terminal.until("Does the lamp light? [y/n]")
        assert mode(terminal) != before
        terminal.type("y\r")
        assert terminal.end() == 0
        assert mode(terminal) == before


@pytest.mark.slow
def test_the_progress_line_leaves_nothing_behind(tmp_path: Path) -> None:
    bench = files(tmp_path, READ + "  - wait: 500 ms\n")
    with on_terminal(bench, "--real-time") as terminal:
        terminal.until("step 4 of 4: wait 500 ms")
        assert terminal.end() == 0
        table = terminal.shown[terminal.shown.rindex("PASS") :]
    assert "step 4 of 4" not in table
    assert re.search(r"\x1b\[[0-9;]*m", terminal.shown), "a terminal has colours"


@pytest.mark.slow
@pytest.mark.parametrize(
    "env",
    [
        {"NO_COLOR": "1"},
        pytest.param({"CI": "1"}, marks=pytest.mark.slow),
        pytest.param({"TERM": "dumb"}, marks=pytest.mark.slow),
    ],
)
def test_no_colours_where_none_are_wanted(tmp_path: Path, env: dict[str, str]) -> None:
    with on_terminal(files(tmp_path, READ), **env) as terminal:
        assert terminal.end() == 0
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", terminal.shown)


@pytest.mark.slow
def test_a_ci_job_with_a_terminal_is_never_asked(tmp_path: Path) -> None:
    with on_terminal(files(tmp_path, LAMP), CI="1") as terminal:
        assert terminal.end() == 2
        assert "nobody answered" in terminal.shown


@pytest.mark.parametrize(
    ("steps", "head", "said"),
    [
        (WRITE, CAUTION, "nobody acknowledged the caution within 0.5 s"),
        (READ + "  - wait: 1 s\n    name: '${serial}'\n", "given: {serial: {}}\n", "nobody gave a value for 'serial'"),
    ],
)
def test_a_terminal_where_nobody_answers_gives_the_station_back(
    tmp_path: Path, steps: str, head: str, said: str
) -> None:
    bench = files(tmp_path, steps, head=head)
    done = answered(bench, (":", ""), more=("--answer-within", "500ms"))
    assert done.code == 2
    assert said in " ".join(f"{done.said} {[record_of(bench).ended.message] if bench.records() else ''}".split())
