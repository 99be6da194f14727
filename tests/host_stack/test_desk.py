"""Commands of benchrig on the real Linux stack."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.run.kit import DEVICES, PLANS

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
LOGGER = DEVICES / "logger.yaml"


def test_a_plan_and_a_plan_that_is_not_there(shell: Shell, tmp_path: Path) -> None:
    smoke, missing = shell(
        f"benchrig run {PLANS}/smoke.yaml --radio host --results results",
        "benchrig run missing.yaml --radio host",
        devices=[LOGGER],
    )
    assert (smoke.code, smoke.err) == (0, "")
    assert "PASS: the unit passed" in smoke.out
    assert list(tmp_path.glob("results/*/junit.xml"))
    assert missing.code == 4
    assert "missing.yaml" in missing.err


def test_the_commands_for_a_device_on_the_desk(shell: Shell, tmp_path: Path) -> None:
    names = f"-p {PLANS}/end_of_line.yaml --radio host"
    ready, scan, nobody, inspect, same, read, refused, write, watch, decode = shell(
        "benchrig ready --radio host",
        "benchrig scan --for 3s --json -d 'VFL-*' --radio host",
        "benchrig scan --for 2s -d nobody --radio host",
        "benchrig inspect --radio host --save golden.json",
        "benchrig inspect --radio host --against golden.json",
        f"benchrig read 'battery level' 'supply voltage' {names}",
        f"benchrig read 'factory key' {names}",
        f"benchrig write 'alarm limit' '8 °C' --acknowledge --read-back {names}",
        f"benchrig watch 'log stream' --count 20 --json {names}",
        "benchrig decode '66 08' --as temperature",
        devices=[LOGGER],
        within=250,
    )
    assert ready.code == 0, ready.out
    assert (scan.code, json.loads(scan.out)["advertising"]["name"]) == (0, "VFL-0042")
    assert nobody.code == 5
    assert inspect.code == 0, inspect.err
    assert json.loads((tmp_path / "golden.json").read_text())["inspection"]["radio"] == "host"
    assert "serial number" in inspect.out
    assert same.code == 0, same.out + same.err
    assert read.out.splitlines() == ["battery level: 97 %  [61]", "supply voltage: 2985 mV  [A9 0B]"], read.err
    assert (refused.code, "read not permitted" in refused.err) == (1, True)
    assert (write.code, "8 °C" in write.out) == (0, True), write.err
    assert (watch.code, len(watch.out.splitlines()) >= 20) == (0, True), watch.err
    assert decode.code == 0


def test_a_drafted_plan_passes_on_the_stack_that_it_came_from(shell: Shell, tmp_path: Path) -> None:
    draft, check, run = shell(
        "benchrig draft -o draft.yaml --radio host",
        "benchrig check draft.yaml",
        "benchrig run draft.yaml --radio host --results results",
        devices=[LOGGER],
        within=250,
    )
    assert draft.code == 0, draft.err
    assert check.code == 0, check.err
    assert run.code == 0, run.out


def test_what_was_done_in_a_session_is_a_plan_that_runs(shell: Shell) -> None:
    verbs = ["connect", "read battery level", "write 6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40 --raw 4142", "save plan.yaml"]
    typed = "\\n".join(verbs)
    session, run = shell(
        f"printf '{typed}\\n' | benchrig session --acknowledge --radio host",
        "benchrig run plan.yaml --radio host --acknowledge --results results",
        devices=[LOGGER],
        within=250,
    )
    assert session.code == 0, session.err
    assert run.code == 0, run.out + run.err


def test_ctrl_c_leaves_the_device_free(shell: Shell) -> None:
    """What is still connected cannot be heard."""
    watch, scan = shell(
        f"timeout -s INT 6 python3 -m benchrig watch 'log stream' --json -p {PLANS}/end_of_line.yaml --radio host",
        "benchrig scan --for 3s -d 'VFL-*' --radio host",
        devices=[LOGGER],
    )
    assert len(watch.out.splitlines()) > 20, watch.err
    assert scan.code == 0, scan.err


def test_live_views_and_the_prompt_on_a_terminal(shell: Shell) -> None:
    """`script` gives each a pseudo-terminal and passes the keys on."""
    names = f"-p {PLANS}/end_of_line.yaml --radio host"

    def at_terminal(keys: str, command: str) -> str:
        return f'({keys}) | TERM=xterm script -qec "stty cols 90 rows 20; python3 -m benchrig {command}" /dev/null'

    scan, watch, session, after = shell(
        at_terminal("sleep 4; printf q", "scan --radio host"),
        at_terminal("sleep 8; printf q", f"watch temperature {names}"),
        at_terminal("sleep 6; printf 'read battery level\\r'; sleep 2; printf 'quit\\r'", f"session {names}"),
        "benchrig scan --for 3s -d 'VFL-*' --radio host",
        devices=[LOGGER],
        within=250,
    )
    assert (scan.code, "VFL-0042" in scan.out) == (0, True), scan.out
    assert (watch.code, "temperature" in watch.out) == (0, True), watch.out
    assert (session.code, "97 %" in session.out) == (0, True), session.out
    assert after.code == 0, after.err
