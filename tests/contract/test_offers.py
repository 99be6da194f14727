"""What a radio does not offer: as it is documented, so it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.radio.offers import CANNOT, LACKS, MAY_FAIL, PARTLY
from benchrig.radio.security_offers import BARS, MAY_LACK
from tests.contract.radios import run_on
from tests.reference import SECTIONS, words

SECTION = SECTIONS["What a radio does not offer"]
# A limit that a reading of this kind always breaks.
BROKEN = {
    "scan.interval": "{max: 1 ms}",
    "scan.count": "{max: 0}",
    "scan.directed": "{equals: always}",
    "scan.flags": "{equals: 0xFF}",
    "scan.appearance": "{equals: 1}",
    "scan.data": "{length: 300}",
    "scan.scan_response": "{length: 300}",
    "connect.connected": "{equals: false}",
    "discover.elapsed": "{min: 1 h}",
    "disconnect.elapsed": "{min: 1 h}",
    "disconnect.unasked": "{min: 1}",
}
PLAN = """
plan: what a radio lacks
device: {select: {name: all sorts}}
steps:
REACH  - STEP:
"""
# the reason of a loss is in the cases
ALL = sorted({name for lacks in LACKS.values() for name in lacks if not name.endswith(".lost_reason")})


def test_the_reference_lists_the_readings() -> None:
    rows = {(words(row["reading"])[0], row["not on"]): row["why"] for row in SECTION.table("reading")}
    assert rows == {(name, kind): why for kind, lacks in LACKS.items() for name, why in lacks.items()}


def test_the_reference_lists_the_readings_that_some_steps_lack() -> None:
    rows = {(words(row["part of"])[0], row["not on"]): (row["where it is lacking"], row["why"])
            for row in SECTION.table("part of")}  # fmt: skip
    assert rows == {(name, kind): (each.when, each.why) for kind, some in PARTLY.items() for name, each in some.items()}


def test_the_reference_lists_the_steps() -> None:
    rows = {(*words(row["step"]), row["may fail on"]): row["why"] for row in SECTION.table("step")}
    assert rows == {
        (verb, f"{key}: {str(value).lower()}", kind): why
        for kind, items in MAY_FAIL.items()
        for (verb, key, value), why in items.items()
    }


def test_the_reference_lists_the_steps_that_a_radio_cannot_do() -> None:
    rows = {(words(row["kind of step"])[0], row["impossible on"]): row["why"] for row in SECTION.table("kind of step")}
    expected = {(verb, kind): why for kind, verbs in CANNOT.items() for verb, why in verbs.items()}
    assert rows == expected, "its table is headed: kind of step | impossible on | why"


def test_the_reference_lists_what_the_host_cannot_pair_or_tell() -> None:
    rows = [
        (words(row["pairing step"])[0], row["where"], row["on"], row["why"]) for row in SECTION.table("pairing step")
    ]
    assert rows == [
        (bar.verb, bar.when, kind + ", in part" * (not bar.everywhere), bar.why)
        for kind, bars in BARS.items()
        for bar in bars
    ]
    told = {(words(row["limit on"])[0], row["not judged in part on"]): row["why"] for row in SECTION.table("limit on")}
    assert told == {(name, kind): why for kind, some in MAY_LACK.items() for name, why in some.items()}


@pytest.mark.parametrize("name", ALL)
def test_a_limit_is_judged_where_the_radio_has_the_reading(name: str, offers: str, radio: str, tmp_path: Path) -> None:
    verb, _, reading = name.partition(".")
    step = f"{verb}:\n    name: judged\n    expect: {{{reading}: {BROKEN[name]}}}"
    reach = "" if verb in ("scan", "connect") else "  - connect:\n"
    ran = run_on(radio, PLAN.replace("STEP:", step).replace("REACH", reach), tmp_path)
    if why := LACKS[offers].get(name):
        assert ran.ends()[-1] == "pass", ran.story()
        assert [(each.name, each.reason) for each in ran.record.steps[-1].not_judged] == [(reading, why)]
    else:
        assert ran.ends()[-1] == "fail limit", ran.story()
