"""Text stays text wherever it is put, a link leads to a file and nowhere else, and a page runs no script but its own."""

from __future__ import annotations

import re
from base64 import b64decode
from hashlib import sha256
from typing import Any

import pytest
from lxml import html

from benchrig.html.document import begins, document
from benchrig.html.drawing import circle, label, line, picture, rectangle, text_of
from benchrig.html.elements import LIMIT, Child, el, link
from benchrig.html.parts import contents, details, facts, figure, notice, row, section, table

EVIL = "</style></script><script>alert(1)</script>\"'&amp;]]><!--\x1b[31m\u202e"
SEEN = "</style></script><script>alert(1)</script>\"'&amp;]]><!--\\x1b[31m\\u202e"


def tree(*body: Child, title: str = "t", **more: str) -> Any:
    return html.document_fromstring(document(title, "benchrig page", *body, **more).decode())


def test_text_from_outside_is_text_in_every_part() -> None:
    shape = picture(EVIL, 10, 10, rectangle(0, 0, 1, 1, EVIL, EVIL), circle(1, 1, 1, "p", EVIL), label(0, 0, EVIL))
    inside = table(EVIL, [EVIL], [row(EVIL, el("b", EVIL), EVIL, class_=EVIL)], numbers=[EVIL])
    main = section(EVIL, EVIL, inside, figure(shape, EVIL), details(EVIL, EVIL), link(EVIL, EVIL, "x"), id_=EVIL)
    root = tree(contents([main]), notice(EVIL, EVIL), facts([(EVIL, EVIL), ("left out", "")]), main, title=EVIL)
    assert not root.xpath("//script")
    assert len(root.xpath("//style")) == 1
    assert root.xpath("//title")[0].text == SEEN
    assert [root.xpath(f"//{tag}")[0].text for tag in ("h2", "dt", "dd", "b", "summary", "strong")] == [SEEN] * 6
    assert root.xpath("//svg/@aria-label")[0] == SEEN
    assert root.xpath("//svg/text/text()") == [SEEN]
    assert "left out" not in root.text_content()


def test_a_very_long_text_is_cut() -> None:
    assert len(el("p", "x" * 5000, title="y" * 5000).text or "") == LIMIT


@pytest.mark.parametrize(
    ("path", "href"),
    [
        ("a b/report.html", "a%20b/report.html#s1"),
        ("javascript:alert(1)", "javascript%3Aalert%281%29#s1"),
        ("50%25#?x=1", "50%2525%23%3Fx%3D1#s1"),
        ("../é", "../%C3%A9#s1"),
    ],
)
def test_a_link_leads_to_a_file_whatever_its_name(path: str, href: str) -> None:
    assert link("run", path, "s1").get("href") == href


def test_a_page_allows_no_script_but_its_own() -> None:
    data = document("t", "benchrig page", "x", script="var a = 1 < 2;")
    assert begins("benchrig page") in data[:1024]
    assert b"script-src" not in document("t", "benchrig page", "x")
    policy = html.document_fromstring(data.decode()).xpath("//meta[@http-equiv]/@content")[0]
    allowed = re.findall(r"'sha256-([^']+)'", policy)
    assert [b64decode(each) for each in allowed] == [sha256(b"var a = 1 < 2;").digest()]
    assert policy.startswith("default-src 'none';")


def test_shapes_are_numbers_of_two_digits_and_never_narrower_than_nothing() -> None:
    assert [text_of(each) for each in (12, 0.254, 100.0, -0.5, 10.10)] == ["12", "0.25", "100", "-0.5", "10.1"]
    assert rectangle(0, 0, -3, 1, "").get("width") == "0"
    assert dict(line(1, 2, 3.5, 4, "limit").attrib) == {"class": "limit", "x1": "1", "y1": "2", "x2": "3.5", "y2": "4"}
