"""What a run is told in: names of steps that only the run knows, one reason for what was skipped, advice with its reason."""

from __future__ import annotations

from collections.abc import Callable

from tests.run.kit import device_text, plan_text, run

DEVICE = device_text()


class Answers:
    """An operator who says the same to everything."""

    async def acknowledge(self, caution: str) -> str:
        return "in the test"

    async def confirm(self, question: str) -> bool:
        return True

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return "red"

    async def choose(self, question: str, options: list[str]) -> str:
        return options[0]


def names(ran) -> list[str]:
    return [step.planned.name for step in ran.record.steps]


ASK = "  - ask: Colour\n    kind: text\n    save: {answer: colour}\n"


def test_a_question_with_a_reference_is_named_as_it_was_asked():
    ran = run(plan_text(ASK + "  - ask: 'Is it ${colour}?'\n"), DEVICE, operator=Answers())
    assert names(ran)[-2:] == ["ask Colour", "ask Is it red?"]


def test_a_name_with_a_reference_is_filled():
    ran = run(plan_text(ASK + "  - wait: 1 s\n    name: 'let ${colour} paint dry'\n"), DEVICE, operator=Answers())
    assert names(ran)[-1] == "let red paint dry"


def test_a_name_without_a_reference_stays():
    step = "  - ask: Again\n    kind: text\n    expect: {answer: {equals: '${colour}'}}\n"
    ran = run(plan_text(ASK + step + step), DEVICE, operator=Answers())
    assert names(ran)[-2:] == ["ask Again", "ask Again (2)"]


def test_an_absent_unit_is_one_reason():
    ran = run(plan_text("  - read: device name\n  - wait: 1 s\n"), device_text(name="other"))
    skipped = {(s.ended.root.node, s.ended.message) for s in ran.record.steps if s.ended.verdict == "skip"}
    assert skipped == {("1", "the unit was not found (step 1)")}


def test_advice_of_a_run_is_no_note():
    plan = plan_text("  - write: device name\n    value: x\n", head="caution: Mind the relay.\n")
    ran = run(plan, DEVICE, acknowledged=False)
    assert ran.ended.advice.startswith("run it at a terminal, or add --acknowledge")
    assert not [note for note in ran.record.notes if "acknowledge" in note.text]
