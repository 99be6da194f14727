"""The page of a set of runs: its numbers are those of the figures, its links lead to the runs, names stay text."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from lxml import html

from benchrig.figures.yields import yields_of
from benchrig.history.opening import open_history
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from benchrig.history.questions.values import values_of
from benchrig.pages import curves
from benchrig.pages.links import Links
from benchrig.pages.reading import Limits, Reading, reading_of
from benchrig.pages.readings import PICTURES, drawn_of, limits_of
from benchrig.pages.whole_set import BEGINS, page_of_set
from tests.history.questions.kit import entry
from tests.pages.kit import ON, a_line, line, undrawn

__all__ = ["undrawn"]
EVIL = "<script>alert(1)</script>\"'&amp;\x1b[31m"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("line") / "results"
    apart = [entry(900, left_out=3), entry(901, verdict="error", cause="station"), entry(902, study="gauge 1")]
    with a_line(made, [*line(), *apart]) as history:
        (made / "runs.html").write_bytes(page_of_set(history, Filters(), made / "runs.html", ON))
    return made


@pytest.fixture(scope="module")
def root(folder: Path) -> Any:
    return tree((folder / "runs.html").read_bytes())


def tree(data: bytes) -> Any:
    return html.document_fromstring(data.decode())


def rows(root: Any, name: str) -> list[list[str]]:
    return [[cell.text_content() for cell in row] for row in root.xpath(f"//div[@aria-label='{name}']//tr")]


def test_the_yield_is_that_of_the_figure(root: Any) -> None:
    first, final = rows(root, "Yield")[1:]
    assert first == ["first pass", "31", "36", "86.1 %", "70.5 to 95.3 %", "71.3 to 93.9 %"]
    assert final[:3] == ["final", "32", "36"]
    assert root.xpath("//p[@class='share']")[0].text == "First pass 31 of 36, 86.1 %, 95 % interval 70.5 to 95.3 %"
    assert rows(root, "Runs that do not count")[1:] == [["cause station", "1"], ["gauge study", "1"], ["PARTIAL", "1"]]
    assert rows(root, "What units failed of")[1][:6] == [
        "read voltage",
        "value",
        "limit",
        "5",
        "5",
        f"100.0 % {'▇' * 12}",
    ]


def test_each_reading_has_its_pictures_with_a_text_beside(root: Any) -> None:
    names = ["read voltage.value", "read level.value", "scan.rssi"]  # the first one failed, the others by their Ppk
    told = rows(root, "Readings")
    assert [row[0] for row in told[1:]] == names
    ppk = [float(row[told[0].index("Ppk")]) for row in told[1:]]
    assert ppk[1] < ppk[2]
    assert rows(root, "Capability of read level.value, with 95 % intervals")[1][5].startswith(f"{ppk[1]:g} (")
    assert root.xpath("//h3/text()")[1:4] == names
    assert len(root.xpath("//figure")) == len(root.xpath("//figure//svg[@role='img'][@aria-label]")) == 1 + 3 * 2 + 3
    assert all(each.text for each in root.xpath("//figcaption"))
    assert "rssi" in root.xpath("//section[@aria-labelledby='p0-firmware']/h3")[0].text  # the one that changed
    assert rows(root, "scan.rssi by firmware")[2][4].startswith("1.9")


def test_a_chart_speaks_where_the_readings_moved(root: Any) -> None:
    told = {row[0]: row[-1] for row in rows(root, "Readings")[1:]}
    assert "Nelson 1" in told["read voltage.value"]
    assert "Nelson 2" in told["scan.rssi"]


def test_links_hold_where_a_link_leads_to_the_results(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "results").symlink_to(folder)
    page = tmp_path / "results" / "runs.html"
    with open_history(tmp_path / "results" / "history.sqlite") as history:
        run = runs_of(history, Filters())[0].folder
        assert Links(history, page).run("x", run).get("href") == f"{run}/report.html"


def test_links_lead_to_runs_and_still_do_when_all_is_moved(folder: Path, root: Any, tmp_path: Path) -> None:
    links = {unquote(each) for each in root.xpath("//a/@href") if not each.startswith("#")}
    assert links
    assert all(each.endswith("/report.html") and not each.startswith(("/", "file:")) for each in links)
    moved = shutil.copytree(folder, tmp_path / "elsewhere")
    assert all((moved / each).is_file() for each in links)
    places = set(root.xpath("//@id"))
    assert {each[1:] for each in root.xpath("//a/@href") if each.startswith("#")} <= places


@pytest.mark.usefixtures("undrawn")
def test_a_run_without_a_page_has_its_folder_and_one_that_is_gone_its_name(tmp_path: Path) -> None:
    with a_line(tmp_path, line(16)) as history:
        failed = yields_of(history, Filters())[0].failures[0]
        (tmp_path / failed.folder / "report.html").unlink()
        root = tree(page_of_set(history, Filters(), tmp_path / "runs.html", ON))
        assert failed.folder in root.xpath("//a/@href")
        (tmp_path / failed.folder).rmdir()
        root = tree(page_of_set(history, Filters(), tmp_path / "sub" / "runs.html", ON))
        links = [each for each in root.xpath("//a/@href") if not each.startswith("#")]
        assert all(each.startswith("../") and failed.folder not in each for each in links)


@pytest.mark.usefixtures("undrawn")
def test_simulated_runs_are_alone_and_said(tmp_path: Path) -> None:
    made = [*line(3), *(entry(n, simulated=True, readings={"scan.rssi": float(n)}) for n in range(50, 54))]
    with a_line(tmp_path, made) as history:
        real = tree(page_of_set(history, Filters(), tmp_path / "a.html", ON))
        simulated = tree(page_of_set(history, Filters(simulated=True), tmp_path / "a.html", ON))
    assert "SIMULATED" not in real.text_content()
    assert simulated.xpath("//header/p[@class='notice']/strong")[0].text == "SIMULATED"
    assert simulated.xpath("//title")[0].text.startswith("SIMULATED")
    assert rows(real, "Readings")[1][1] == "3"
    assert rows(simulated, "Readings")[1][1] == "4"


@pytest.mark.usefixtures("undrawn")
def test_plans_are_never_mixed(tmp_path: Path) -> None:
    made = [*line(6), entry(50, plan="smoke", readings={"scan.rssi": 3.0})]
    with a_line(tmp_path, made) as history:
        root = tree(page_of_set(history, Filters(), tmp_path / "a.html", ON))
    titles = root.xpath("//h2/text()")
    assert {"Yield of end of line", "Yield of smoke"} <= {*titles}
    tables = root.xpath("//div[@aria-label='Readings']")
    assert ["6" in each.text_content() for each in tables] == [True, False]


@pytest.mark.usefixtures("undrawn")
def test_names_from_outside_are_text(tmp_path: Path) -> None:
    made = line(8, name=EVIL, unit=EVIL + "{}", plan=EVIL, message=EVIL, measure=EVIL, station=EVIL)
    with a_line(tmp_path, made) as history:
        data = page_of_set(history, Filters(), tmp_path / "a.html", ON)
    assert BEGINS in data[:1024]
    assert b"\x1b" not in data
    assert not tree(data).xpath("//script")
    assert tree(data).xpath("//h1")[0].text.startswith("Runs of <script>alert(1)</script>\"'&amp;\\x1b")


@pytest.mark.usefixtures("undrawn")
def test_the_same_history_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    with a_line(tmp_path / "results", line(10)) as history:
        first = page_of_set(history, Filters(), tmp_path / "results" / "a.html", ON)
        assert page_of_set(history, Filters(), tmp_path / "results" / "a.html", ON) == first


@pytest.mark.usefixtures("undrawn")
def test_an_exact_change_is_a_change(tmp_path: Path) -> None:
    """A battery that is 92 %, 92 %, then 93 % in every run of a build."""
    builds = ["1.0"] + ["1.1"] * 4 + ["1.2"] * 4
    made = [
        entry(n, firmware=each, measure="%", readings={"read battery.value": 93.0 if each == "1.2" else 92.0})
        for n, each in enumerate(builds)
    ]
    with a_line(tmp_path, made) as history:
        root = tree(page_of_set(history, Filters(), tmp_path / "a.html", ON))
    assert "The mean of 1 of 1 reading differs" in root.text_content()
    assert [row[4] for row in rows(root, "read battery.value by firmware")[1:]] == [
        "", "0 %", "1 %, exact: the values with each firmware are equal"
    ]  # fmt: skip
    assert [
        each.text[:3] for each in root.xpath("//div[@aria-label='read battery.value by firmware']//span[@class='bad']")
    ] == ["1 %"]


def reading(tmp_path: Path, values: list[float], **more: Any) -> Reading | None:
    made = [entry(n, readings={"scan.rssi": value}, **more) for n, value in enumerate(values)]
    with a_line(tmp_path, made) as history:
        return reading_of(values_of(history, "scan.rssi", Filters()))


@pytest.mark.parametrize(
    "values", [[3.0], [3.0, 3.0, 3.0], [1.0, 2.0, 2.0], [0.1 * n for n in range(60)], [1e9, 1e-9, 5.0]]
)
def test_every_value_is_in_a_bar(values: list[float], tmp_path: Path) -> None:
    told = reading(tmp_path, values)
    assert told is not None
    assert int(told.counts.sum()) == len(values)
    assert len(told.edges) == len(told.counts) + 1 <= 61
    assert (told.least.value, told.most.value, told.last.value) == (min(values), max(values), values[-1])


def test_pictures_are_bounded_and_show_what_failed(tmp_path: Path) -> None:
    sound, failed = reading(tmp_path / "a", [3.0, 3.1]), reading(tmp_path / "b", [3.0, 12.0])
    assert sound
    assert failed
    assert [failed.failed, failed.failures[0].value] == [1, 12.0]
    drawn = drawn_of([*[sound] * 50, failed])
    assert len(drawn) == PICTURES
    assert drawn[-1] == 50


@pytest.mark.parametrize("value", [0.0, 0.03, -0.03, 1e9])
def test_a_constant_has_a_bar_on_its_side_of_zero(value: float, tmp_path: Path) -> None:
    told = reading(tmp_path, [value] * 3)
    assert told is not None
    assert told.counts.tolist() == [3]
    assert told.edges[0] <= value <= told.edges[1]
    assert (told.edges.min() if value >= 0 else -told.edges.max()) >= 0


def test_an_axis_is_not_negative_where_no_value_is_and_has_whole_numbers_and_dates(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    told = reading(tmp_path, [0.03, 0.03])
    assert told is not None
    axes = Figure().subplots()
    curves.histogram(told)(axes)
    assert axes.get_xlim()[0] == 0
    values = Figure().subplots()
    curves.values_in_order(told)(values)
    assert all(float(at).is_integer() for at in values.get_xticks())
    assert values.get_xlabel().startswith("value, in the order of time: 2026-")


def test_limits_that_are_left_out_are_said(tmp_path: Path) -> None:
    told = reading(tmp_path, [3.0, 3.1])
    assert told is not None
    several = [Limits(float(low), 20.0) for low in range(6)]
    assert limits_of(replace(told, limits=(*several,))).endswith("4 to 20 V, …")
    assert limits_of(replace(told, limits=(*several[:5],))).endswith("4 to 20 V")
