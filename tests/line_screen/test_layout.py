"""A view and a size give the lines of a screen: known ones as text, and any one within its bounds."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from benchrig.line.view import Asked, LastUnit, LineView, SlotView
from benchrig.line_screen.layout import REHEARSAL, banners, drawn, planned
from benchrig.line_screen.letters import SIGNS, SMALL, large
from benchrig.line_screen.pieces import Pen
from tests.line_screen.scenes import EIGHT, FOUR, NOW, PASSED, SCENES, SIZES, judged, kept, screen, view

STRANGE = "\x1b[31mred\x1b[0m \u202eevil\x00 日本語 e\u0301 " * 20


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scene", SCENES)
def test_the_screen_of_a_scene(scene: str, size: tuple[int, int]) -> None:
    """Those that are kept were looked at; `python -m tests.line_screen.scenes` writes them anew."""
    assert screen(SCENES[scene], *size) == kept(scene, *size).read_text("utf-8")


def text_of(shown: LineView, width: int = 80, height: int = 24, typed: str = "", **how: Any) -> str:
    return screen(shown, width, height, typed, **how)


def test_a_rehearsal_says_so_in_letters_as_large_as_the_verdict() -> None:
    for slots in (FOUR[:1], FOUR, EIGHT):
        for size in SIZES:
            shown = view(*slots, rehearsal=True)
            plan = planned(shown, *size, Pen())
            assert plan is not None
            for word in (REHEARSAL, f"{SIGNS['PASS']}PASS"):
                assert all(row in text_of(shown, *size) for row in _trimmed(large(word, plan.size)))


def _trimmed(rows: list[str]) -> list[str]:
    return [row.rstrip() for row in rows]


@pytest.mark.parametrize("count", range(1, 9))
@pytest.mark.parametrize("rehearsal", [False, True])
def test_one_to_eight_slots_have_room_on_a_small_console(count: int, *, rehearsal: bool) -> None:
    shown = view(*EIGHT[:count], rehearsal=rehearsal)
    plan = planned(shown, 80, 24, Pen())
    assert plan is not None
    assert (plan.size == SMALL) == (count > 4)


@pytest.mark.parametrize("word", ["PASS", "FAIL", "STOP"])
def test_a_verdict_is_a_word_with_a_sign_and_a_colour(word: Any) -> None:
    """Without colours and without anything but ASCII too."""
    lines = drawn(view(judged("1", word)), "", 80, 24, NOW, ascii_only=True)
    rows = large(f"{SIGNS[word]}{word}", planned(view(judged("1", word)), 80, 24, Pen()).size, ascii_only=True)  # type: ignore[union-attr]
    found = [(text, style) for line in lines for text, style in line if text in rows]
    assert [text for text, _ in found] == rows
    assert {style for _, style in found} == {f"{word.lower()} letters"}


def test_why_a_station_is_locked_is_never_cut_away() -> None:
    for count in range(1, 9):
        shown = view(*EIGHT[:count], rehearsal=True, state="locked", message="The golden logger is due.", do="Scan it.")
        assert "The golden logger is due." in text_of(shown)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("count", range(1, 9))
def test_a_slot_stays_where_it_is_while_units_come_and_go(count: int, size: tuple[int, int]) -> None:
    shown = view(*EIGHT[:count], rehearsal=True)
    plans = [
        planned(replace(shown, last=shown.last[:last], do=do, waiting=waiting), *size, Pen())
        for last in range(6) for do in ("", "Scan the next one.") for waiting in ((), ("A",))
    ]  # fmt: skip
    assert len({plan and (plan.size, plan.columns, plan.box.beside) for plan in plans}) == 1


def test_what_to_do_shares_the_line_of_what_is_typed_where_room_is_short() -> None:
    shown = view(*FOUR, rehearsal=True, message="", do="Put a unit into slot 1.")
    assert "\n Put a unit into slot 1. > VFL\n" in text_of(shown, typed="VFL").replace(" \n", "\n")


def test_units_that_wait_are_counted_where_there_is_no_line_for_them() -> None:
    shown = view(*FOUR, rehearsal=True, waiting=("VFL3-000020", "VFL3-000021"))
    assert "2 waiting" in text_of(shown)
    assert "VFL3-000021" in text_of(shown, 160, 45)


def test_no_line_stays_empty_while_a_reason_is_cut() -> None:
    """Before the first unit of a shift nothing is below the figures."""
    reason = "expected that it passes at this station: read battery level"
    shown = view(judged("1", "STOP", reason), *FOUR[1:], rehearsal=True, state="locked", last=())
    assert "read battery level" in " ".join(text_of(shown).split("slot 2")[1].split())


def test_a_question_is_whole_where_there_is_room() -> None:
    text = " ".join(text_of(SCENES["caution"]).split())
    assert SCENES["caution"].asked is not None
    assert " ".join(SCENES["caution"].asked.text.split()) in text


def test_a_terminal_that_is_too_small_says_so_and_shows_what_there_is() -> None:
    text = text_of(view(*FOUR, rehearsal=True), 50, 11, "VFL")
    assert "the terminal is too small (50 x 11)" in text
    assert [word in text for word in ("PASS", "FAIL", "STOP", "REHEARSAL", "VFL3-000013", "> VFL")] == [True] * 6


@pytest.mark.parametrize(("last", "words"), [(None, "takt 30 s"), (29.6, "in time"), (30.0, "in time"), (30.1, "late")])
def test_the_time_against_the_takt_has_a_word(last: float | None, words: str) -> None:
    assert words in text_of(view(PASSED, last_takt=last))


def test_the_end_of_a_long_line_is_what_is_seen_of_it() -> None:
    assert f"> …{'9' * 75}" in text_of(view(PASSED), typed="1" * 10_000 + "9" * 75)


def test_foreign_text_cannot_leave_its_place() -> None:
    shown = view(judged("1", "FAIL", STRANGE, STRANGE, purpose="golden"), message=STRANGE, person=STRANGE)
    assert "\\x1b[31m" in text_of(shown)
    assert "\x1b" not in text_of(shown)


# --- any view

texts = st.text(max_size=40) | st.sampled_from(["", STRANGE, "日" * 60])
slots = st.builds(
    SlotView, name=st.sampled_from(["1", "2", STRANGE]),
    state=st.sampled_from(["empty", "proving", "waiting", "running", "ended", "off"]),
    word=st.sampled_from(["", "PASS", "FAIL", "STOP"]), serial=texts, says=texts, do=texts, step=texts,
    done=st.integers(0, 20), of=st.integers(0, 9), seconds=st.floats(0, 1e6), release=st.booleans(),
)  # fmt: skip
asked = st.none() | st.builds(Asked, texts, texts, st.tuples(texts, texts), st.none() | st.floats(0, 1e4), texts)
units = st.builds(
    LastUnit, st.just(datetime(2026, 1, 1, tzinfo=UTC)), texts, texts, st.sampled_from(["PASS", "STOP"]), texts
)
views = st.builds(
    LineView, texts, st.sampled_from(["person", "ready", "question", "locked", "stopped", "ended"]), texts, texts, st.booleans(),
    texts, texts, st.lists(slots, max_size=9).map(tuple), st.lists(texts, max_size=4).map(tuple), asked,
    takt=st.none() | st.floats(0, 1e5), last_takt=st.none() | st.floats(0, 1e5),
    last=st.lists(units, max_size=5).map(tuple), notes=st.lists(texts, max_size=3).map(tuple),
)  # fmt: skip


@given(views, texts, st.integers(1, 200), st.integers(1, 60), st.booleans())
def test_every_screen_is_filled_and_nothing_is_outside(
    shown: LineView, typed: str, width: int, height: int, ascii_only: bool
) -> None:
    lines = [
        "".join(text for text, _ in line) for line in drawn(shown, typed, width, height, NOW, ascii_only=ascii_only)
    ]
    assert [cell_len(line) for line in lines] == [width] * height
    assert all(line.isprintable() for line in lines)
    assert not ascii_only or all(line.isascii() for line in lines)


@given(views)
def test_no_verdict_is_shown_that_is_not_in_the_view(shown: LineView) -> None:
    """In any slot, on a screen with room for all."""
    plan = planned(shown, 200, 60, Pen())
    if plan is None:
        return
    lines = drawn(replace(shown, last=()), "", 200, 60, NOW)
    styles = [style for line in lines for _, style in line if style.endswith(" letters")]
    expected = [each.word.lower() for each in shown.slots if each.word]
    expected += ["ask" for each in shown.slots if not each.word and each.state == "ended" and each.release]
    expected += [style for _, style in banners(shown)]
    assert sorted(styles) == sorted(f"{each} letters" for each in expected for _ in range(plan.size.rows))
