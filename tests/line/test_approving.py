"""Plans that are approved at a station, by hash."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.cli.line_approve import approve as command
from benchrig.errors import PlanError, UsageError
from benchrig.line.approving import (
    Approval,
    Approvals,
    Wanted,
    all_wanted,
    approvals_path,
    approvals_text,
    approve,
    load_approvals,
    refused,
)
from benchrig.line.plans import PlanFiles
from benchrig.station.station import Station, load_station

ONE, TWO, THREE = "1" * 64, "2" * 64, "3" * 64
FILES = PlanFiles("plan.yaml", "limits.yaml")
NOW = datetime(2026, 11, 27, 6, 0, tzinfo=UTC)
PLAN = "plan: a plan\ndevice: {select: {name: a}}\nsteps:\n  - scan: {expect: {rssi: {min: LEVEL}}}\n"
LIMITS = (
    "limit_set: tight\nplan: a plan\nversion: 1\nowner: Q\nreason: golden\nlimits: {scan: {rssi: {min: -50 dBm}}}\n"
)
STATION = r"""
station: line 3
products:
  logger: {barcode: '(?P<serial>V\d)', plan: plan.yaml}
  box: {barcode: '(?P<serial>B\d)', plan: box.yaml}
references:
  golden: {label: V1, limits: tight.yaml}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name, text in {"line3.yaml": STATION, "tight.yaml": LIMITS}.items():
        (tmp_path / name).write_text(text)
    for name, level in {"plan.yaml": "-70 dBm", "box.yaml": "-80 dBm"}.items():
        (tmp_path / name).write_text(
            PLAN.replace("{expect", "\n    expect").replace("}}}", "}}").replace("LEVEL", level)
        )
    return tmp_path


def ran(*words: str):
    done = CliRunner().invoke(command, words)
    assert not done.exception or isinstance(done.exception, SystemExit), done.exception
    return done


def wanted(sha256: str = ONE, limits: str = TWO) -> Wanted:
    return Wanted("a plan", FILES, sha256, limits)


def approved(path: Path) -> Approvals:
    approve(path, [wanted()], "A. Berg", NOW)
    return load_approvals(path)


def test_nothing_is_approved_where_there_is_no_file(tmp_path):
    said = refused(load_approvals(tmp_path / "none.yaml"), wanted())
    expected = f"the plan plan.yaml with the limit set limits.yaml is not approved at this station: SHA-256 {ONE}, limit set {TWO}"
    assert said == expected


def test_what_is_approved_is_not_refused(tmp_path):
    assert refused(approved(tmp_path / "a.yaml"), wanted()) == ""


@pytest.mark.parametrize(
    ("changed", "what", "old", "new"),
    [
        (wanted(THREE), "plan", ONE, THREE),
        (wanted(ONE, THREE), "limit set of the plan", TWO, THREE),
        (wanted(ONE, ""), "limit set of the plan", TWO, "none"),
    ],
)
def test_a_change_is_refused_with_both_hashes(tmp_path, changed, what, old, new):
    said = refused(approved(tmp_path / "a.yaml"), changed)
    when = "was changed since A. Berg approved it at 2026-11-27T06:00:00+00:00"
    assert said == f"the {what} plan.yaml with the limit set limits.yaml {when}: expected SHA-256 {old}, found {new}"


def test_the_plan_without_its_limit_set_is_another_thing(tmp_path):
    assert refused(approved(tmp_path / "a.yaml"), Wanted("a plan", PlanFiles("plan.yaml"), ONE))


def test_the_newest_approval_holds_and_the_older_ones_stay(tmp_path):
    path = tmp_path / "a.yaml"
    approved(path)
    [added] = approve(path, [wanted(THREE)], "B. Ek", NOW)
    assert (added.by, added.sha256) == ("B. Ek", THREE)
    after = load_approvals(path)
    assert refused(after, wanted(THREE)) == ""
    assert refused(after, wanted(ONE))
    assert [each.by for each in after.approvals] == ["A. Berg", "B. Ek"]


def test_approving_twice_writes_once(tmp_path):
    path = tmp_path / "a.yaml"
    approved(path)
    before = path.read_bytes()
    assert approve(path, [wanted()], "B. Ek", NOW) == []
    assert path.read_bytes() == before


def test_somebody_approves(tmp_path):
    with pytest.raises(UsageError, match="expected who approves"):
        approve(tmp_path / "a.yaml", [wanted()], " ", NOW)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "approvals: [{plan: p, file: f, sha256: abc, by: A, at: t}]",
            "expected a SHA-256 of 64 hex digits, found 'abc'",
        ),
        (
            f"approvals: [{{plan: p, file: f, sha256: '{ONE}', by: ' ', at: t}}]",
            "expected who has approved it, found nothing",
        ),
        (f"approvals: [{{plan: p, file: f, sha256: '{ONE}', bye: A, at: t}}]", "unknown key 'bye'"),
    ],
)
def test_a_damaged_file_approves_nothing(tmp_path, text, said):
    (tmp_path / "a.yaml").write_text(text)
    with pytest.raises(PlanError, match=said):
        load_approvals(tmp_path / "a.yaml")


_TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20).filter(lambda text: "${" not in text)


@given(
    st.lists(
        st.builds(Approval, _TEXTS, _TEXTS, st.just(ONE), _TEXTS.filter(str.strip), _TEXTS, st.just(""), st.just("")),
        min_size=1,
        max_size=3,
    )
)
@settings(max_examples=30)
def test_any_approvals_are_read_back(tmp_path_factory, approvals):
    path = tmp_path_factory.mktemp("any") / "a.yaml"
    path.write_bytes(approvals_text(approvals).encode())
    assert load_approvals(path) == Approvals(approvals)


def test_the_file_is_beside_that_of_the_station():
    assert approvals_path(Station("a"), Path("here/line3.yaml")) == Path("here/line3.approvals.yaml")
    assert approvals_path(Station("a", approvals="all.yaml"), Path("here/line3.yaml")) == Path("all.yaml")


# --- the command


def test_all_products_and_the_limits_of_golden_units(folder):
    done = ran("line3.yaml", "--by", "A. Berg")
    assert (done.exit_code, done.output.count("approved: a plan")) == (0, 3)
    approvals = load_approvals(folder / "line3.approvals.yaml")
    files = [(each.file, each.limits) for each in approvals.approvals]
    assert files == [("plan.yaml", ""), ("box.yaml", ""), ("plan.yaml", "tight.yaml")]
    assert all(not refused(approvals, each) for each in all_wanted(load_station(folder / "line3.yaml")))


def test_one_product_only(folder):
    assert ran("line3.yaml", "box", "--by", "A. Berg").exit_code == 0
    approvals = load_approvals(folder / "line3.approvals.yaml")
    assert [each.file for each in approvals.approvals] == ["box.yaml"]


def test_a_plan_that_was_changed_is_approved_anew(folder):
    ran("line3.yaml", "--by", "A. Berg")
    (folder / "box.yaml").write_text((folder / "box.yaml").read_text().replace("-80", "-81"))
    done = ran("line3.yaml", "--by", "B. Ek")
    assert [line for line in done.output.split("\n") if "box.yaml" in line] != []
    assert "approved before, by A. Berg at " in done.output
    assert [each.by for each in load_approvals(folder / "line3.approvals.yaml").approvals] == ["A. Berg"] * 3 + [
        "B. Ek"
    ]
    assert "stays as it is" in ran("line3.yaml", "--by", "C").output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("line3.yaml", "bax", "--by", "A"), "has no product 'bax'"),
        (("line3.yaml", "--by", ""), "expected who approves"),
        (("none.yaml", "--by", "A"), "none.yaml"),
        (("line3.yaml",), "--by"),
    ],
)
def test_mistakes_of_the_command_line(folder, words, said):
    done = ran(*words)
    assert done.exit_code in (2, 4)
    assert said in done.output
    assert not (folder / "line3.approvals.yaml").exists()


def test_a_plan_with_a_mistake_is_not_approved(folder):
    (folder / "plan.yaml").write_text("plan: a plan\n")
    assert ran("line3.yaml", "--by", "A").exit_code == 4
    assert not (folder / "line3.approvals.yaml").exists()
