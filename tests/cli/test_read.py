"""`benchrig read`."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.calling import call
from tests.cli.kit import benchrig, here
from tests.run.kit import DEVICES, PLANS, device_text

RADIO = f"virtual:{DEVICES}/logger.yaml"


def test_values_by_name_with_unit_and_bytes(tmp_path: Path) -> None:
    done = here("read", "humidity", "battery level", "-d", "VFL-*", "--radio", RADIO, cwd=tmp_path)
    assert done.returncode == 0
    assert done.stdout.splitlines() == ["humidity: 43.5 %  [FE 10]", "battery level: 97 %  [61]"]
    assert done.stderr.startswith("SIMULATED")


def test_one_document_a_line(tmp_path: Path) -> None:
    done = here("read", "humidity", "model number", "--json", "--radio", RADIO, cwd=tmp_path)
    values = [json.loads(line)["content"]["value"] for line in done.stdout.splitlines()]
    assert values == [43.5, "VFL3"]


def test_a_refused_read_is_said_and_the_others_are_shown(tmp_path: Path) -> None:
    plan = PLANS / "end_of_line.yaml"
    done = here("read", "factory key", "alarm limit", "-p", plan, "--radio", RADIO, cwd=tmp_path)
    assert done.returncode == 1
    assert "alarm limit: 5 °C" in done.stdout
    assert "read not permitted" in done.stderr


def test_bytes_that_do_not_fit_are_a_failure(tmp_path: Path) -> None:
    done = call("read", "humidity", "battery level", "--as", "uint8", "--radio", RADIO)
    assert (done.exit_code, done.stdout) == (1, "battery level: 97  [61]\n")
    assert "humidity: a uint8 has 1 byte, found 2 bytes: FE 10  [FE 10]" in done.stderr
    document = call("read", "temperature", "--as", "uint8", "--json", "--radio", RADIO)
    assert (document.exit_code, json.loads(document.stdout)["content"]["wrong"][:7]) == (1, "a uint8")


SILENT = """services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 50 %}
  - service: 6b1d0101-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: 6b1d0104-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read], value: 1, on_read: {silent: true}}
      - {characteristic: 6b1d0105-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read], value: 1}
"""


def test_what_was_read_before_the_device_fell_silent_is_shown(tmp_path: Path) -> None:
    (tmp_path / "silent.yaml").write_text(device_text(SILENT), encoding="utf-8")
    own = [f"6b1d010{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in (4, 5)]
    done = call("read", "battery level", *own, "--json", "--radio", f"virtual:{tmp_path}/silent.yaml")
    level, silent, after = map(json.loads, done.stdout.splitlines())
    assert (done.exit_code, level["content"]["value"], silent["attribute"]) == (1, 50, own[0])
    assert "did not answer" in silent["error"]
    assert (after["attribute"], "not read" in after["error"]) == (own[1], True)


def test_a_refusal_names_its_attribute_once() -> None:
    own = "6b1d0006-9a53-4c86-8a3e-2f0f6c1d7e40"
    assert f"benchrig: read {own}: the device answered with ATT error" in call("read", own, "--radio", RADIO).stderr


def test_an_absent_device_is_a_failure(tmp_path: Path) -> None:
    done = here("read", "humidity", "-d", "nobody", "--within", "2s", "--radio", RADIO, cwd=tmp_path)
    assert done.returncode == 1
    assert "not heard" in done.stderr


def test_a_wrong_name_is_found_before_the_radio_is_opened(tmp_path: Path) -> None:
    done = here("read", "humidty", "--radio", "hci:tcp:127.0.0.1:1", cwd=tmp_path)
    assert done.returncode == 4
    assert "humidity" in done.stderr


def test_a_format_of_ones_own(tmp_path: Path) -> None:
    own = "6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40"
    done = here("read", own, "--as", "uint16", "--scale", "0.001", "--unit", "V", "--radio", RADIO, cwd=tmp_path)
    assert "2.985 V" in done.stdout
    bad = here("read", own, "--as", "uint99", "--radio", RADIO, cwd=tmp_path)
    assert bad.returncode == 4


def test_the_shell_completes_the_names_of_the_plan(tmp_path: Path) -> None:
    words = f"benchrig read -p {PLANS}/end_of_line.yaml al"
    env = {"_BENCHRIG_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": "4"}
    assert benchrig(cwd=tmp_path, env=env).stdout.split() == ["plain,alarm", "limit"]


def test_with_json_an_error_is_a_document_too(tmp_path: Path) -> None:
    done = here("read", "humidity", "-d", "nobody", "--within", "2s", "--json", "--radio", RADIO, cwd=tmp_path)
    said = json.loads(done.stdout)
    assert (done.returncode, said["cause"]) == (1, "link")
    assert "not heard" in said["error"]
    assert "not heard" in done.stderr


NAMED = """services:
  - service: generic access
    characteristics:
      - {characteristic: device name, properties: [read], value: unit 1}
      - {characteristic: appearance, properties: [read], raw: '83 00'}
  - service: device information
    characteristics:
      - {characteristic: system id, properties: [read], raw: '01 02 03 04 05 AA BB CC'}
"""


def test_an_appearance_has_its_name_and_a_system_id_its_hex(tmp_path: Path) -> None:
    (tmp_path / "named.yaml").write_text(device_text(NAMED), encoding="utf-8")
    radio = f"virtual:{tmp_path}/named.yaml"
    done = call("read", "appearance", "system id", "--radio", radio)
    assert "  appearance: 131 (" in done.stdout
    assert "  manufacturer_id: 0x0504030201\n  organization_id: 0xCCBBAA\n" in done.stdout
    assert "organization_id 0xCCBBAA" in call("inspect", "--radio", radio).stdout


PAIRED = device_text("""services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, write], value: 5 °C, encrypted: true}
      - {characteristic: humidity, properties: [read], value: 5 %, on_read: {att_error: read not permitted}}
""")


def test_what_wants_a_paired_link_is_the_devices_answer(tmp_path: Path) -> None:
    device = tmp_path / "device.yaml"
    device.write_text(PAIRED, encoding="utf-8")
    at = ("--radio", f"virtual:{device}")
    assert call("read", "temperature", *at).exit_code == 1
    assert call("read", "temperature", "humidity", *at).exit_code == 1
    refused = call("write", "temperature", "3 °C", "--acknowledge", *at)
    assert refused.exit_code == 1
    assert "\nbenchrig: write temperature: the device answered with ATT error" in refused.stderr
