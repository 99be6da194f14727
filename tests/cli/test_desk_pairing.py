"""--pair of the commands for a device."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.kit import here
from tests.desk.carriers import OWN, TEXTS

FOB = TEXTS["pairing"]
OPEN = FOB.replace("read_needs: authenticated", "read_needs: encrypted")


def at(folder: Path, *words: str, device: str = FOB, code: int = 0) -> str:
    """What a command prints, errors too."""
    (folder / "device.yaml").write_text(device, encoding="utf-8")
    done = here(*words, "--radio", "virtual:device.yaml", cwd=folder, env={"COLUMNS": "200"})
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def test_an_inspection_says_what_pairing_comes_to(tmp_path: Path) -> None:
    text = at(tmp_path, "inspect", "--pair", "none", device=OPEN)
    assert (
        "pairing   as none: just works, Secure Connections, not authenticated, key of 16 bytes, bonded; link: encrypted"
        in text
    )
    assert "read after pairing; before: ATT error 0x05 (insufficient authentication)" in text
    assert "note: pairing: paired by just works" in text
    data, _ = json.JSONDecoder().raw_decode(at(tmp_path, "inspect", "--pair", "none", "--json", device=OPEN))
    assert data["inspection"]["security"]["method"] == "just works"


def test_a_pairing_that_fails_ends_the_command_with_1(tmp_path: Path) -> None:
    refuses = FOB.replace("capability: display", "capability: display, bondable: false")
    text = at(tmp_path, "inspect", "--pair", "none", device=refuses, code=1)
    assert "as none: failed: pairing not supported (the device refused)" in text
    text = at(tmp_path, "read", OWN(2), "--pair", "none", device=refuses, code=1)
    assert "the pairing failed: pairing not supported (the device refused)" in text
    assert "some do for a while after a button only" in text


def test_a_bond_serves_a_read(tmp_path: Path) -> None:
    assert "6F 6B" in at(tmp_path, "read", OWN(2), "--pair", "none", device=OPEN)
    text = at(tmp_path, "read", OWN(2), device=OPEN, code=1)
    assert "it wants a paired link, and nothing was paired before" in text
    assert "pair with the device: --pair keyboard" in text


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["inspect", "--twice"], 4, "--twice and --try-write go with --pair"),
        (["inspect", "--pair", "keybord"], 4, "'keybord' is not one of"),
        (["inspect", "--pair", "none", "--try-write", OWN(2)], 2, "write not acknowledged (no terminal)"),
        (["inspect", "--pair", "keyboard"], 2, "nobody can type it (no terminal)"),
        (["read", OWN(2), "--pair", "keyboard"], 2, "nobody can type it (no terminal)"),
    ],
)
def test_what_cannot_be_done(words: list[str], code: int, said: str, tmp_path: Path) -> None:
    assert said in at(tmp_path, *words, code=code)


def test_a_write_that_is_tried_needs_a_word(tmp_path: Path) -> None:
    weak = OPEN.replace("write_needs: authenticated", "")
    text = at(tmp_path, "inspect", "--pair", "none", "--try-write", OWN(2), "--acknowledge", device=weak)
    assert "the device takes a write without security, and reading needs some" in text
