"""`benchrig draft`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchrig.cli import main
from tests.cli.kit import OnTerminal
from tests.cli.test_startup import RADIO as RADIO_PACKAGES
from tests.cli.test_startup import started
from tests.draft.devices import SHELVES
from tests.run.kit import DEVICES

LOGGER = f"virtual:{DEVICES}/logger.yaml"


def command(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_draft_check_run(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    done = command("draft", "-o", plan, "-d", "VFL-*", "--radio", LOGGER)
    assert (done.exit_code, done.stdout) == (0, f"{plan}: 22 steps, 53 limits, 51 of them guesses, from 1 unit\n")
    assert done.stderr.splitlines()[0].startswith("SIMULATED")
    assert command("check", plan).stdout == f"{plan}: OK, 22 steps, 53 limits\n"
    ran = command("run", plan, "--radio", LOGGER, "--seed", "11", "--results", tmp_path)
    assert (ran.exit_code, "0 broken" in ran.stdout) == (0, True)


def test_a_plan_that_is_there_is_kept(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text("mine", encoding="utf-8")
    done = command("draft", "-o", plan, "--radio", LOGGER)
    assert (done.exit_code, plan.read_text(encoding="utf-8")) == (4, "mine")
    assert "--force" in done.stderr
    done = command("draft", "-o", plan, "--force", "--json", "--radio", LOGGER)
    assert json.loads(done.stdout)["limits"] == 53
    assert [path.name for path in tmp_path.iterdir()] == ["plan.yaml"]


def test_every_unit_that_answers(tmp_path: Path) -> None:
    for number, shelf in enumerate(SHELVES):
        (tmp_path / f"{number}.yaml").write_text(shelf, encoding="utf-8")
    radio = "virtual:" + ",".join(str(path) for path in sorted(tmp_path.iterdir()))
    words = ("--radio", radio, "-d", "Shelf-*", "--each", "--listen", "2s", "--json")
    done = command("draft", "-o", tmp_path / "plan.yaml", *words)
    said = json.loads(done.stdout)
    assert len(said["devices"]) == len(SHELVES)
    assert said["warning"].startswith("6 devices heard here match the selection")
    assert done.stderr.splitlines()[1:3] == [
        "unit 1 of 6: Shelf-001 C4:00:00:00:01:01",
        "unit 2 of 6: Shelf-002 C4:00:00:00:01:02",
    ]


def test_one_of_several_is_told_from_the_others(tmp_path: Path) -> None:
    for number, shelf in enumerate(SHELVES[:3]):
        (tmp_path / f"{number}.yaml").write_text(shelf, encoding="utf-8")
    radio = "virtual:" + ",".join(str(path) for path in sorted(tmp_path.iterdir()))
    plan = tmp_path / "plan.yaml"
    done = command("draft", "-o", plan, "--radio", radio, "-d", "Shelf-002")
    assert "note: the plan picks the name Shelf-002 in full: 2 other devices heard here" in done.stderr
    ran = command("run", plan, "--radio", radio, "--results", tmp_path)
    assert ran.exit_code == 0, ran.stdout


def test_from_a_file_to_the_standard_output(tmp_path: Path) -> None:
    golden = tmp_path / "golden.json"
    assert command("inspect", "--save", golden, "--radio", LOGGER).exit_code == 0
    done = command("draft", "-o", "-", "--from", golden, "--radio", "virtual:nothing.yaml")
    assert (done.exit_code, done.stdout.startswith("# Drafted by benchrig")) == (0, True)
    assert "from 1 unit" in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["-d", "nobody", "--within", "2s"], 1, "not heard"),
        (["--each"], 4, "--each would take every device"),
        (["--units", "2"], 4, "--each --units 2"),
        (["--coverage", "100 %"], 4, "a percentage between 0 and 100 %"),
        (["--listen", "0 s"], 4, "more than 0 s"),
        (["--from", "missing.json"], 4, "cannot be read"),
        (["--skip", "nosuch thing"], 4, "unknown attribute 'nosuch thing'"),
        (["--skip", "heart rate measurement"], 1, "has no attribute"),
    ],
)
def test_what_cannot_be(tmp_path: Path, words: list[str], code: int, said: str) -> None:
    done = command("draft", "-o", tmp_path / "plan.yaml", "--radio", LOGGER, *words)
    assert (done.exit_code, said in done.stderr) == (code, True)
    assert not [*tmp_path.iterdir()]


def test_the_standard_output_takes_one_document(tmp_path: Path) -> None:
    done = command("draft", "-o", "-", "--json", "--radio", LOGGER)
    assert (done.exit_code, "not both" in done.stderr) == (4, True)


def test_what_is_skipped_is_in_a_remark(tmp_path: Path) -> None:
    done = command("draft", "-o", "-", "--skip", "battery level", "--listen", "1s", "--radio", LOGGER)
    assert "# battery level: left out, as it was asked for: no step reads it" in done.stdout


@pytest.mark.slow
def test_an_interruption_leaves_nothing_behind(tmp_path: Path) -> None:
    with OnTerminal(tmp_path, "draft", "-o", "plan.yaml", "--radio", LOGGER, "--real-time") as terminal:
        terminal.until("unit 1 of 1")
        terminal.type("\x03")
        assert terminal.end() == 2
    assert not [*tmp_path.iterdir()]


def test_help_loads_no_statistics() -> None:
    _, modules = started("draft", "--help")
    assert modules & (RADIO_PACKAGES | {"scipy", "numpy", "msgspec", "yaml"}) == set()
