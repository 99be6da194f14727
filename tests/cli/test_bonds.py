"""The bonds of a station at the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from benchrig.radio.bond_store import open_store
from benchrig.radio.bonds import Bond, Keys, LongTermKey, Secret
from tests.cli.kit import OnTerminal, benchrig, here

KEY = Secret(range(16))
KEYS = Keys(ltk=LongTermKey(KEY), irk=KEY)
BOX = Bond("C0:11:22:33:44:55", "random", KEYS, "Box 1", "2026-05-01T10:00:00+00:00", "hci", "passkey", True, True)
METER = Bond("00:00:5E:00:53:01", "public", KEYS, "Meter 7", radio="hci", method="just works", key_size=7)


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    store = open_store("line 2", env := {"XDG_DATA_HOME": str(tmp_path / "data")})
    store.keep(BOX)
    store.keep(METER)
    (tmp_path / "line2.yaml").write_text("station: line 2\n")
    return env


def left(home: dict[str, str]) -> list[str]:
    return [bond.name for bond in open_store("line 2", home).all()]


def test_bonds_are_shown_without_keys(tmp_path: Path, home: dict[str, str]) -> None:
    env = {**home, "COLUMNS": "160"}
    table = here("bonds", "--station", "line2.yaml", cwd=tmp_path, env=env)
    assert re.split(" {2,}", table.stdout.splitlines()[1]) == [
        "Box 1", "C0:11:22:33:44:55 (random)", "hci", "passkey", "16 bytes, secure connections, authenticated",
        "2026-05-01T10:00:00+00:00",
    ]  # fmt: skip
    assert "7 bytes, legacy, not authenticated" in table.stdout
    data = here("bonds", "--station", "line2.yaml", "--json", cwd=tmp_path, env=env)
    said = json.loads(data.stdout)
    assert [bond["address"] for bond in said["bonds"]] == [BOX.address, METER.address]
    assert KEY.hex() not in table.stdout + data.stdout.lower()
    assert here("bonds", cwd=tmp_path, env=env).stderr.endswith("has no bonds\n"), "another station"


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (["c0:11:22:33:44:55"], ["Meter 7"]),
        (["Meter*"], ["Box 1"]),
        (["Box 1", "Meter 7"], []),
        (["--all"], []),
    ],
)
def test_bonds_are_forgotten(words: list[str], names: list[str], tmp_path: Path, home: dict[str, str]) -> None:
    done = here("bonds", "--station", "line2.yaml", "clear", "--yes", *words, cwd=tmp_path, env=home)
    assert (done.returncode, left(home)) == (0, names)
    assert f"{2 - len(names)} bond" in done.stderr


def test_the_station_may_stand_behind_clear_too(tmp_path: Path, home: dict[str, str]) -> None:
    done = here("bonds", "clear", "Box 1", "--yes", "--station", "line2.yaml", cwd=tmp_path, env=home)
    assert (done.returncode, left(home)) == (0, ["Meter 7"])


def test_a_narrow_table_breaks_no_time(tmp_path: Path, home: dict[str, str]) -> None:
    table = here("bonds", "--station", "line2.yaml", cwd=tmp_path, env={**home, "COLUMNS": "80"})
    assert "2026-05-01T10:00:00+00:00" in table.stdout


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["clear", "Boks 1", "--yes"], 4, "no bond with 'Boks 1'\n  did you mean 'Box 1'?"),
        (["clear", "--yes"], 4, "expected units, or --all"),
        (["clear", "Box 1", "--all", "--yes"], 4, "expected units, or --all"),
        (["clear", "Box 1"], 2, "add --yes"),
    ],
)
def test_nothing_is_forgotten_by_mistake(
    words: list[str], code: int, said: str, tmp_path: Path, home: dict[str, str]
) -> None:
    done = here("bonds", "--station", "line2.yaml", *words, cwd=tmp_path, env=home)
    assert done.returncode == code
    assert said in done.stderr
    assert left(home) == ["Box 1", "Meter 7"]


def test_a_store_that_others_can_read_is_refused(tmp_path: Path, home: dict[str, str]) -> None:
    path = open_store("line 2", home).path
    path.chmod(0o644)
    for words in ([], ["clear", "--all", "--yes"]):
        done = here("bonds", "--station", "line2.yaml", *words, cwd=tmp_path, env=home)
        assert (done.returncode, f"chmod 600 '{path}'" in done.stderr) == (7, True)
    path.chmod(0o600)
    assert len(left(home)) == 2


@pytest.mark.slow
def test_the_shell_completes_units(tmp_path: Path, home: dict[str, str]) -> None:
    words = "benchrig bonds --station line2.yaml clear M"
    env = {**home, "_BENCHRIG_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": "5"}
    assert benchrig(cwd=tmp_path, env=env).stdout == "plain,Meter 7\n"


@pytest.mark.slow
@pytest.mark.parametrize(("answer", "names"), [("n", ["Box 1", "Meter 7"]), ("y", ["Meter 7"])])
def test_the_person_is_asked(answer: str, names: list[str], tmp_path: Path, home: dict[str, str]) -> None:
    with OnTerminal(tmp_path, "bonds", "--station", "line2.yaml", "clear", "Box 1", **home) as at:
        at.until("forget 1 bond: Box 1?")
        at.type(f"{answer}\r")
        at.end()
    assert left(home) == names
