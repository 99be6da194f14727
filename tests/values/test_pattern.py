"""Patterns: linear in time, ASCII in their classes, and told with advice where the engine cannot."""

from __future__ import annotations

import fnmatch

import pytest

from benchrig.source.shape import Misfit
from benchrig.values.limit import Limit
from benchrig.values.pattern import LONGEST, Regex, captured, group_names


def judged(pattern: str, text: object) -> bool:
    return Limit(matches=Regex.from_source(pattern)).bind("text").passes(text)


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (r"([A-Z0-9]+-?)+", "VFL3000042" * 4 + " "),
        ("(a+)+b", "a" * 5000),
        ("(x+x+)+y", "x" * 5000),
        ("(.*.*.*.*.*.*)*b", "a" * 5000),
        ("(a?){500}a{500}", "a" * 499),
    ],
)
def test_no_text_takes_for_ever(pattern, text):
    assert not judged(pattern, text)


def test_no_pattern_of_names_takes_for_ever():
    assert not fnmatch.fnmatchcase("a" * 248, "*a" * 100 + "*b")
    assert fnmatch.fnmatchcase("a" * 248, "*a" * 100 + "*")


@pytest.mark.parametrize(
    ("pattern", "text", "passes"),
    [
        (r"VFL3-\d{6}", "VFL3-000042", True),
        (r"VFL3-\d{6}", "VFL3-٠٠٠٠٤٢", False),  # Arabic-Indic digits
        (r"VFL3-\d{6}", "VFL3-0000421", False),
        (r"VFL3-\d{6}", "VFL3-000042\n", False),
        ("a|ab", "ab", True),
        (r"\w+", "wärme", False),
        ("w.rme", "wärme", True),
        (r"\d+\.\d+", "2.4", True),
        ("a", None, False),
        ("a", 1, False),
        (".", "\ud800", True),
        (r"\{,3}", "{,3}", True),
    ],
)
def test_the_whole_text_has_to_match(pattern, text, passes):
    assert judged(pattern, text) is passes


@pytest.mark.parametrize(
    ("pattern", "message", "advice"),
    [
        ("(?=a)b", "has a look-ahead or look-behind", "write the whole text out"),
        ("(?<!a)b", "has a look-ahead or look-behind", "write the whole text out"),
        (r"(a)\1", "has a back-reference", "write the repeated part out"),
        (r"a\Z", r"has a \Z", "the whole text has to match"),
        ("a{1001}", "repeats a part too often", "at most 1000 times"),
        (r"(\pL{9}){90}", "is too large", "write a shorter one"),
        ("a{,3}", "has a repetition without its least number", "write {0,3}"),
        (r"\\{,3}", "has a repetition without its least number", "write {0,3}"),
        ("(a", "'(a' is not a regular expression: missing )", "backslash"),
        ("a" * (LONGEST + 1), "a pattern has at most 1000 characters, this one has 1001", "write a shorter one"),
        ("\ud800", "half of a surrogate pair", ""),
        (3, "expected a regular expression as text, found the number 3", "quote it: '3'"),
    ],
)
def test_what_cannot_be_a_pattern(pattern, message, advice, capfd):
    with pytest.raises(Misfit) as refused:
        Regex.from_source(pattern)
    assert message in refused.value.message
    assert advice in refused.value.advice
    assert capfd.readouterr() == ("", "")  # the engine keeps its own log to itself


@pytest.mark.parametrize(
    ("pattern", "text", "found"),
    [
        (r"02(?P<page>..)", "02A1", {"page": "A1"}),
        (r"(?P<state>\w+)( since (?P<since>\d+))?", "open", {"state": "open"}),
        (r"(?P<all>.*)", "é\ud800", {"all": "é\ud800"}),
        (r"02(?P<page>..)", "02A1A2", None),
        (r"(.*)", "no name", {}),
    ],
)
def test_what_named_groups_find_in_the_whole_text(pattern, text, found):
    assert captured(pattern, text) == found


def test_the_names_of_groups():
    assert group_names(r"(?P<a>.)(.)(?P<b>.)") == ["a", "b"]
