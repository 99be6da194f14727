"""Plans of a project under limit sets."""

from __future__ import annotations

from pathlib import Path

SET = """limit_set: Warm probes
plan: Smoke test
version: 1
owner: A. Berg
reason: They are sold for greenhouses.
limits:
  read battery level: {value: {min: {least}}}
"""


def test_a_plan_is_judged_by_the_set_that_names_it(project: Path, start) -> None:
    (project / "warm.yaml").write_text(SET.replace("{least}", "99 %"), "utf-8")
    session = start("plans/smoke.yaml", "--benchrig-limits=warm.yaml", "-p", "no:cacheprovider")
    assert session.came["Smoke test::read battery level"] == "failed", session.text
    assert session.code == 1
    assert "limits of 'Smoke test': warm.yaml" in session.text
    other = start("plans/links.yaml", "--benchrig-limits=warm.yaml", "-p", "no:cacheprovider")
    assert other.code == 4
    assert "no plan of this call is named 'Smoke test'" in other.text
    (project / "warm.yaml").write_text(SET.replace("{least}", "1 Hz"), "utf-8")
    wrong = start("plans/smoke.yaml", "--benchrig-limits=warm.yaml", "-p", "no:cacheprovider")
    assert "1 Hz is a frequency, not a ratio" in wrong.text
