"""`benchrig ready`."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
from pathlib import Path

import bumble.host
import pytest

from tests.cli.calling import call, lines
from tests.cli.kit import COMMAND, PATIENCE, environment
from tests.run.kit import DEVICES, device_text


def test_a_virtual_radio():
    result = call("ready", "--radio", f"virtual:{DEVICES}/logger.yaml")
    assert result.exit_code == 0
    assert lines(result)[:2] == [["virtual:logger.yaml"], ["yes", "device files", "1 device"]]
    assert "heard at -5" in result.stdout
    assert "this station can test over virtual:logger.yaml" in result.stdout
    assert result.stderr.startswith("SIMULATED")


def test_a_device_that_does_not_advertise(tmp_path: Path):
    (tmp_path / "unit.yaml").write_text(device_text(more="faults: {stop_advertising_after: 0 s}"))
    result = call("ready", "--radio", f"virtual:{tmp_path}/unit.yaml", "--json")
    document = json.loads(result.stdout)
    assert (result.exit_code, document["ready"]) == (7, [])
    assert document["checks"][1]["found"] == "unit 1 was not heard in 3 s"
    assert set(document["versions"]) == {"benchrig", "bleak", "bumble", "python", "system"}


def test_a_slow_device_needs_time(tmp_path: Path):
    (tmp_path / "unit.yaml").write_text("device: unit 1\nadvertising: {interval: 10 s}\n")
    result = call("ready", "--radio", f"virtual:{tmp_path}/unit.yaml", "--listen", "1 s", "--json")
    assert json.loads(result.stdout)["checks"][1]["advice"] == "it advertises every 10 s: write --listen '30 s'"
    assert call("ready", "--radio", f"virtual:{tmp_path}/unit.yaml", "--listen", "30 s").exit_code == 0


def test_of_many_devices_the_first_are_named_and_the_others_counted(tmp_path: Path):
    (tmp_path / "units.yaml").write_text(
        "others:\n  - {count: 43, name: 'tag {number}', advertising: {interval: 100 ms}}\n"
        "  - {count: 27, name: 'rare {number}', advertising: {interval: 10 s}}\n"
    )
    result = call("ready", "--radio", f"virtual:{tmp_path}/units.yaml", "--listen", "1 s", "--json")
    checks = json.loads(result.stdout)["checks"][1:]
    more = [check["found"].split(maxsplit=1) for check in checks if check["check"] == "others"]
    assert [words for _, words in more] == ["more were not heard", "more were heard"]
    assert sum(int(number) for number, _ in more) == 70 - len(checks) + len(more)
    assert [check["state"] for check in checks] == ["no"] * 6 + ["yes"] * 6


def test_a_device_file_with_a_mistake_is_wrong_usage(tmp_path: Path):
    (tmp_path / "unit.yaml").write_text("devise: unit\n")
    result = call("ready", "--radio", f"virtual:{tmp_path}/unit.yaml")
    assert (result.exit_code, "devise" in result.stderr) == (4, True)


@pytest.mark.parametrize("radio", ["carrier pigeon", "hci:usb:x", "virtual:"])
def test_an_unknown_radio_is_wrong_usage(radio):
    assert call("ready", "--radio", radio).exit_code == 4


def test_a_station_without_a_bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/nobody")
    result = call("ready", "--radio", "host")
    assert result.exit_code == 7
    assert lines(result)[:3] == [
        ["host"],
        ["no", "D-Bus", "the system's D-Bus is not running"],
        ["start D-Bus and the Bluetooth service, where there is systemd: systemctl start dbus bluetooth"],
    ]
    assert result.stdout.splitlines()[-1] == "not ready  the system's D-Bus is not running"


@pytest.mark.slow
def test_an_interrupt_ends_the_process_that_looks_too(tmp_path: Path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        silent.settimeout(PATIENCE)
        radio = f"hci:tcp:127.0.0.1:{silent.getsockname()[1]}"
        process = subprocess.Popen(
            [*COMMAND, "ready", "--radio", radio], cwd=tmp_path, env=environment(), stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        connection, _ = silent.accept()
        with connection:
            connection.settimeout(PATIENCE)
            os.kill(process.pid, signal.SIGINT)
            _, said = process.communicate(timeout=PATIENCE)
            assert (process.returncode, said) == (2, "benchrig: interrupted\n")
            while connection.recv(4096):
                """Until the other side is gone."""


def test_another_version_of_the_stack(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delattr(bumble.host.Host, "on_packet")
    result = call("ready", "--radio", f"virtual:{DEVICES / 'sensor.yaml'}", "--json")
    (check,) = json.loads(result.stdout)["checks"]
    assert (result.exit_code, check["state"]) == (7, "no")
    assert "host.Host.on_packet is not there" in check["found"]
    assert check["advice"].startswith("pip install bumble==")
