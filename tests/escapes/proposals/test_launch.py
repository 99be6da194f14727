"""The options `--propose` and `--take`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.kit import here
from tests.escapes.kit import written

RADIO = ("--radio", "virtual:device.yaml")


@pytest.mark.slow
def test_the_plan_with_all_taken_lets_the_escape_through_no_more(tmp_path: Path) -> None:
    written(tmp_path)
    fault = ("--fault", "pressure: missing")
    done = here("escapes", "plan.yaml", *RADIO, *fault, "--propose", "more.yaml", "--take", "taken.yaml", cwd=tmp_path)
    assert done.returncode == 1, "the plan that was hunted with lets it through"
    assert "1 proposal: 1 escape caught, 0 left" in done.stderr
    assert "faults: ['pressure: missing']" in (tmp_path / "more.yaml").read_text("utf-8")
    assert here("check", "taken.yaml", cwd=tmp_path).returncode == 0
    assert here("escapes", "taken.yaml", *RADIO, *fault, cwd=tmp_path).returncode == 0


def test_two_outputs_are_two_files(tmp_path: Path) -> None:
    written(tmp_path)
    done = here("escapes", "plan.yaml", *RADIO, "--take", "plan.yaml", cwd=tmp_path)
    assert (done.returncode, "name the same file" in done.stderr) == (4, True)
