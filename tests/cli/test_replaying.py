"""`benchrig twin --of`: a firmware developer gets the folder of last night's failure."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.kit import here
from tests.run.kit import DEVICES, LINE

LOSES = ("jitter: 2 ms}", "jitter: 2 ms, drop_every: 7}")
SERIAL = ("--set", "serial=VFL3-000042")


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a failed run, its capture and its plan."""
    folder = tmp_path_factory.mktemp("night")
    (folder / "plan.yaml").write_text(LINE.read_text("utf-8"), "utf-8")
    device = (DEVICES / "logger.yaml").read_text("utf-8")
    assert LOSES[0] in device
    (folder / "unit.yaml").write_text(device.replace(*LOSES), "utf-8")
    options = ("--radio", "virtual:unit.yaml", "--capture", "night.btsnoop", "--acknowledge", *SERIAL)
    assert here("run", "plan.yaml", *options, cwd=folder).returncode == 1
    return folder


def run_of(folder: Path) -> Path:
    return next(each.parent for each in folder.glob("results/*/record.jsonl"))


def test_the_plan_fails_alike_on_the_desk(night: Path) -> None:
    done = here("twin", "--of", run_of(night), "--with", "night.btsnoop", "--check", "--force", cwd=night)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "the plan ends alike on the twin" in done.stdout
    text = (run_of(night) / "twin.yaml").read_text("utf-8")
    assert text.startswith("# A twin of the unit in one run: Vaccine fridge logger, end of line")
    assert "# The run: FAIL in step 14 (notify log stream), cause limit: " in text
    again = here(
        "run",
        "plan.yaml",
        "--radio",
        f"virtual:{run_of(night) / 'twin.yaml'}",
        "-q",
        "--acknowledge",
        *SERIAL,
        cwd=night,
    )
    assert again.returncode == 1
    assert "step 14 notify log stream: fail (limit)" in again.stdout


def test_from_the_record_alone_it_says_what_is_a_guess(night: Path) -> None:
    done = here("twin", "--of", run_of(night), "--check", "-o", "alone.yaml", "--json", cwd=night)
    told = json.loads(done.stdout)
    assert (done.returncode, told["capture"], told["check"]["alike"]) == (0, None, True), done.stdout
    assert any("times and values of a stream" in guess for guess in told["guesses"])
    assert "# Guesses:" in (night / "alone.yaml").read_text("utf-8")


def test_another_plan_does_not_fail_alike(night: Path) -> None:
    options = ("--with", "night.btsnoop", "--check", "--plan", "other.yaml", "-o", "-")
    plan = (night / "plan.yaml").read_text("utf-8").replace("lost: {equals: 0}", "lost: {max: 90}")
    (night / "other.yaml").write_text(plan, "utf-8")
    done = here("twin", "--of", run_of(night), *options, cwd=night)
    assert done.returncode == 1
    assert "has changed since the run" in done.stderr
    assert "the plan does NOT end alike on the twin" in done.stderr


def test_no_program_runs_on_a_desk_unasked(night: Path) -> None:
    program = "steps:\n  - command: [touch, ran]\n    expect: {exit_code: {equals: 0}}\n"
    plan = (night / "plan.yaml").read_text("utf-8").replace("steps:\n", program, 1)
    (night / "programs.yaml").write_text(plan, "utf-8")
    done = here("twin", "--of", run_of(night), "--check", "--plan", "programs.yaml", "-o", "-", cwd=night)
    assert (done.returncode, "which would run on the twin" in done.stderr) == (4, True)
    assert not (night / "ran").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--with", "plan.yaml"), "is not a capture in btsnoop format: offset 0: expected 'btsnoop'"),
        (("--with", "night.btsnoop", "--with", "other.btsnoop"), "--of takes one capture"),
        (("--from", "plan.yaml"), "--of and --from exclude each other"),
        (("--plan", "none.yaml", "--check"), "none.yaml"),
    ],
)
def test_what_is_refused(night: Path, options: tuple[str, ...], said: str) -> None:
    done = here("twin", "--of", run_of(night), *options, "-o", "no.yaml", cwd=night)
    assert done.returncode == 4
    assert said in done.stderr
    assert not (night / "no.yaml").exists()


def test_check_needs_a_run(night: Path) -> None:
    done = here("twin", "--check", "-o", "no.yaml", cwd=night)
    assert (done.returncode, "--check and --set go with --of" in done.stderr) == (4, True)


def test_a_run_that_is_cut_off(night: Path, tmp_path: Path) -> None:
    lines = (run_of(night) / "record.jsonl").read_bytes().splitlines(keepends=True)
    (tmp_path / "record.jsonl").write_bytes(b"".join(lines[:20]) + lines[20][:9])
    done = here("twin", "--of", tmp_path, cwd=night)
    assert done.returncode == 0
    assert "the run was cut off" in done.stderr
    assert (tmp_path / "twin.yaml").read_text("utf-8").startswith("# A twin of the unit")
