"""The page: its structure, what may come from outside, and its size."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from lxml import html

from benchrig.escapes.page.whole import BEGINS, page
from benchrig.escapes.results import OUTCOMES, About, Argument, Came, Catch, Hunted, Outcome, Result
from benchrig.record.events import PlannedNode
from tests.escapes.test_coverage import NODES, PROMISED, RESULTS, coverage_of

EVIL = "<script>alert(1)</script>\"'&amp;]]><!--\x1b[31m\u202e"
ON = datetime(2026, 11, 27, 12, 30, tzinfo=UTC)
LOUD = ("blamed wrongly", "failed", "escaped", "by luck")


def result(outcome: Outcome, name: str = "level: {}", text: str = "It is low.", node: str = "1") -> Result:
    catch = Catch(node, text, "value", "limit", text)
    caught = outcome in ("caught", "blamed wrongly")
    trials = (
        [Came(0, "fail", 1.5, 4, catch, [Catch("3.2", text, "elapsed", "limit", text)])]
        if caught
        else [Came(0, "pass", 2.0, 9)]
    )
    argument = (
        Argument(text, text, "2026-11-27", text if outcome == "left" else "") if outcome in ("argued", "left") else None
    )
    about = About(name.format(outcome), "value", "grave", text, ["device"])
    return Result(about, outcome, [] if outcome in ("failed", "not applicable") else trials, argument, text)


def hunted(results: list[Result], nodes: list[PlannedNode] = NODES, text: str = "a plan", **more: Any) -> Hunted:
    return Hunted(
        1,
        text,
        text,
        text,
        "3",
        text,
        [text],
        text,
        text,
        [0, 1],
        {"benchrig": text},
        nodes,
        len(results),
        results,
        **more,
    )


def tree(made: Hunted) -> Any:
    return html.document_fromstring(page(made, ON).decode())


def rows(root: Any, id_: str) -> list[list[str]]:
    return [[cell.text_content() for cell in row] for row in root.xpath(f"//section[@aria-labelledby='{id_}']//tr")]


@pytest.fixture(scope="module")
def whole() -> Any:
    return tree(
        hunted([result(each) for each in OUTCOMES], coverage=coverage_of(NODES, PROMISED, RESULTS), notes=["y & z"])
    )


def test_the_head_and_the_counts_say_what_was_tried(whole: Any) -> None:
    facts = whole.xpath("//header")[0].text_content()
    assert whole.xpath("//h1")[0].text == "a plan"
    assert all(each in facts for each in ("revision 3", "0 to 1", "2026-11-27 12:30+00:00", "benchrig a plan"))
    head, grave, total, *_ = rows(whole, "counts")
    assert head == ["weight", "faults", *OUTCOMES]
    assert grave == ["grave", "9", *"1" * 9]
    assert total == ["all", *grave[1:]]


def test_each_fault_is_a_row_with_its_mark_under_the_step(whole: Any) -> None:
    heads = [each.text_content() for each in whole.xpath("//table[@id='matrix']/thead/tr[2]/th")]
    assert heads == ["1 read level", "2 write limit", "3.1 it opens", "3.2 it shuts", "31 silence"]
    groups = [
        (each.text, each.get("colspan"))
        for each in whole.xpath("//table[@id='matrix']/thead/tr[1]/th[@scope='colgroup']")
    ]
    assert groups == [("steps", "2"), ("3 lock", "2"), ("steps", "1")]
    found = {each[1]: each for each in rows(whole, "faults") if each[1:] and each[1] in OUTCOMES}
    assert [*found] == sorted(found)  # one thing, one weight: by name
    assert found["caught"][2:] == ["●value", "", "", "○elapsed", "", "1 value: It is low.; also 3.2 elapsed"]
    assert found["blamed wrongly"][2:6] == ["✗value", "", "", "○elapsed"]
    assert "cause limit, expected device" in found["blamed wrongly"][-1]
    assert [each for each, row in found.items() if not "".join(row[2:-1])] == sorted(
        {*OUTCOMES} - {"caught", "blamed wrongly"}
    )
    loud = whole.xpath("//tr[@data-result and @class='open']/@data-result")
    assert sorted(loud) == sorted(LOUD)


def test_what_to_look_at_comes_before_the_faults_one_by_one(whole: Any) -> None:
    ids = whole.xpath("//section/@aria-labelledby")
    assert ids == [
        "counts",
        "wrong",
        "failed",
        "gaps",
        "requirements",
        "overview",
        "escaped",
        "argued",
        "faults",
        "notes",
    ]
    assert [each[0] for each in rows(whole, "escaped")[1:]] == ["level: by luck", "level: escaped"]
    assert "3.2 it shuts" in whole.xpath("//section[@aria-labelledby='gaps']")[0].text_content()
    assert [each[-1] for each in rows(whole, "requirements")[1:]] == [
        "",
        "no step proves it",
        "no fault is noticed by its steps: 31",
    ]
    assert ["It is low.", "It is low.", "2026-11-27", "It is low.", "1", "level: left"] in rows(whole, "argued")
    assert [each for each in rows(whole, "overview") if each[0] == "level"] == [
        ["level", "9", "4", "2", "", "", "", ""]
    ]


def test_every_table_has_heads_and_every_link_leads_somewhere(whole: Any) -> None:
    assert not whole.xpath(
        "//th[not(@scope)] | //tbody/tr[not(th)] | //table[not(ancestor::div[@role='group'][@aria-label])]"
    )
    ids = whole.xpath("//@id")
    assert len({*ids}) == len(ids)
    assert {each[1:] for each in whole.xpath("//a/@href")} <= {*ids}
    for table in whole.xpath("//table"):
        first = table.xpath("./thead/tr[1]/th")
        width = sum(int(each.get("colspan", 1)) for each in first)
        assert {sum(int(cell.get("colspan", 1)) for cell in row) for row in table.xpath("./tbody/tr | ./tfoot/tr")} <= {
            width
        }


def test_text_from_outside_is_text() -> None:
    nodes = [PlannedNode("1", EVIL, "read", EVIL, children=[PlannedNode("1.1", EVIL, "read", EVIL)])]
    data = page(
        hunted(
            [result(each, "{}" + EVIL + ": x", EVIL, node=EVIL) for each in OUTCOMES],
            nodes,
            EVIL,
            notes=[EVIL],
            stale=[EVIL],
        ),
        ON,
    )
    root = html.document_fromstring(data.decode())
    assert len(root.xpath("//script")) == len(root.xpath("//style")) == 1
    assert not re.search(rb"alert\(1\)</script>|\x1b", data)
    assert "\u202e" not in data.decode()
    assert {name for each in root.iter() if isinstance(each.tag, str) for name in each.attrib} <= {
        "lang", "charset", "name", "http-equiv", "content", "class", "id", "href", "title", "scope", "colspan", "rowspan", "role", "tabindex",
        "aria-label", "aria-labelledby", "aria-hidden", "data-result"}  # fmt: skip
    assert root.xpath("//h1")[0].text.startswith("<script>alert(1)</script>\"'&amp;]]><!--\\x1b")


def test_it_needs_nothing_else_and_is_told_from_other_files() -> None:
    data = page(hunted([result("escaped")]), ON)
    assert data.startswith(b"<!DOCTYPE html>\n<html")
    assert BEGINS in data[:1024]
    assert not re.search(rb"https?:|@import|url\(|\ssrc=|<link", data)


def test_one_that_was_interrupted_says_so() -> None:
    made = hunted([result("caught")], interrupted=True)
    made.asked = 9
    assert "INTERRUPTED: 1 of 9 faults tried" in tree(made).text_content()
    assert "INTERRUPTED" not in tree(hunted([])).text_content()


def test_very_many_faults_of_many_steps_stay_small() -> None:
    nodes = [PlannedNode(str(at), f"read {at}", "read", "p", limits=["value"]) for at in range(1, 41)]
    results = [
        result("caught" if at % 2 else "escaped", f"thing {at % 70}: kind {at}", node=str(at % 40 + 1))
        for at in range(700)
    ]
    data = page(hunted(results, nodes), ON)
    assert len(data) < 1_000_000
    assert len(html.document_fromstring(data.decode()).xpath("//tr[@data-result]")) == 700
