"""A plot is a part of the page: the same bytes for the same values, no id twice, colours of the style, text that stays text."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree as ET

import matplotlib
import pytest

from benchrig.html.document import document
from benchrig.html.plots import BAD, BLUE, plotted, stacked

EVIL = "$\\frac <script>alert(1)</script> \x1b\u202e \U0001f600"


def curve(axes: Any) -> None:
    axes.plot([1.0, 2.0, 4.0], color=BLUE, marker="o")
    axes.axhline(3.0, color=BAD)
    axes.set_ylabel(EVIL)


def test_a_plot_is_the_same_each_time_whatever_a_user_has_set() -> None:
    first = ET.tostring(plotted("levels", "p1", curve))
    with matplotlib.rc_context({"svg.fonttype": "path", "axes.grid": True, "font.size": 30}):
        assert ET.tostring(plotted("levels", "p1", curve)) == first
        assert matplotlib.rcParams["font.size"] == 30


def test_plots_share_no_id_and_all_that_they_refer_to_is_there() -> None:
    text = document("t", "benchrig page", plotted(EVIL, "p1", curve), stacked("two", "p2", [curve, curve])).decode()
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids)) > 4
    assert {*re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', text)} <= {(each, "") for each in ids} | {("", each) for each in ids}  # fmt: skip
    assert "<script>" not in text
    assert text.count("$\\frac &lt;script&gt;alert(1)&lt;/script&gt; \\x1b\\u202e \U0001f600") == 3


@pytest.mark.parametrize("without", ["#01010", "font-family", "<!DOCTYPE svg", "xmlns", "<metadata", "svg:"])
def test_the_style_of_the_page_is_the_one_of_the_plot(without: str) -> None:
    text = ET.tostring(plotted("levels", "p1", curve), encoding="unicode")
    assert "var(--bad)" in text
    assert without not in text
