"""Octets become lines, whatever they are and however they come."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from benchrig.console.lines import LONGEST, Splitter


def lines(*parts):
    splitter = Splitter()
    return [line for part in parts for line in splitter.feed(part)] + splitter.end()


def test_every_line_end_ends_a_line_once():
    assert lines(b"a\nb\r\nc\rd\n\re\r\n\r\n\nf") == ["a", "b", "c", "d", "e", "f"]


def test_what_has_no_end_yet_waits():
    splitter = Splitter()
    assert splitter.feed(b"one\ntw") == ["one"]
    assert splitter.is_open
    assert splitter.feed(b"o\n") == ["two"]
    assert not splitter.is_open
    assert splitter.end() == []


def test_what_is_no_text_stays_told_apart():
    assert lines(b"\xff\xfe\x00\n", "grün\n".encode(), b"\xc3\n") == ["\\xff\\xfe\x00", "grün", "\\xc3"]


def test_a_line_without_end_goes_on_as_the_next_one():
    assert [len(line) for line in lines(b"x" * (2 * LONGEST + 5))] == [LONGEST, LONGEST, 5]


@given(st.binary(max_size=300), st.lists(st.integers(0, 300)))
def test_how_they_come_changes_nothing(data, cuts):
    """A character cut in two is none of two."""
    edges = [0, *sorted(cuts), len(data)]
    parts = [data[begin:end] for begin, end in itertools.pairwise(edges)]
    assert lines(*parts) == lines(data)
    whole = data.replace(b"\r", b"\n").split(b"\n")
    assert lines(data) == [line.decode("utf-8", "backslashreplace") for line in whole if line]
