"""`benchrig decode`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cli.calling import call, lines
from tests.cli.kit import benchrig
from tests.cli.test_startup import started
from tests.run.kit import PLANS

NAMES = ["temperature", "heart rate measurement", "utf8", "date time", "medfloat16", "hex"]
HEADINGS = ["offset", "length", "bytes", "field", "value"]


def test_a_value_of_an_adopted_characteristic():
    result = call("decode", "66", "08", "--as", "temperature")
    assert (result.exit_code, lines(result)) == (0, [HEADINGS, ["0", "2", "66 08", "value", "21.5 °C"]])


def test_a_structure_field_by_field():
    """tshark 4.0.17 and bluetooth-sig 0.6.0 read these octets alike."""
    result = call("decode", "1E50100033039A02", "--as", "heart rate measurement")
    assert lines(result)[1:] == [
        ["0", "1", "1E", "flags", "30"],
        ["bits 0x06", "contact", "contact"],
        ["1", "1", "50", "heart_rate", "80 bpm"],
        ["2", "2", "10 00", "energy_expended", "16 kJ"],
        ["4", "2", "33 03", "rr_interval[0]", "0.799805 s"],
        ["6", "2", "9A 02", "rr_interval[1]", "0.650391 s"],
    ]


def test_json_has_the_exact_value():
    document = json.loads(call("decode", "1E50100033039A02", "--as", "heart rate measurement", "--json").stdout)
    assert document["value"]["rr_interval"] == [0.7998046875, 0.650390625]
    assert document["fields"][-1] == {
        "name": "rr_interval[1]",
        "offset": 6,
        "length": 2,
        "raw": "9A02",
        "value": 0.650390625,
        "unit": "s",
    }


def test_bad_bytes_are_said_with_their_place():
    """Half an RR interval: a lax decoder accepts it."""
    result = call("decode", "103C00", "--as", "heart rate measurement")
    assert result.exit_code == 1
    assert lines(result)[-1] == ["2", "1", "00", "rr_interval", "expected 2 bytes in item 1, found 1"]
    document = json.loads(call("decode", "103C00", "--as", "heart rate measurement", "--json").stdout)
    assert document["wrong"] == ["rr_interval, offset 2: expected 2 bytes in item 1, found 1"]
    assert "value" not in document


def test_a_descriptor_by_its_name_in_any_case():
    """Format sint16, exponent -2, degree Celsius 0x272F (Core Vol 3 Part G 3.3.3.5)."""
    result = call("decode", "0EFE2F27010000", "--as", "Characteristic  Presentation Format")
    assert [line[-2:] for line in lines(result)[1:4]] == [["format", "14"], ["exponent", "-2"], ["unit", "10031"]]


def test_a_format_of_ones_own():
    assert lines(call("decode", "F6FF", "--as", "sint16", "--scale", "0.01", "--unit", "mV"))[1][-1] == "-0.1 mV"


def test_an_attribute_of_a_plan():
    result = call("decode", "A90B", "--attribute", "supply voltage", "-p", PLANS / "end_of_line.yaml")
    assert (result.exit_code, lines(result)[1][-1]) == (0, "2985 mV")


def test_a_valid_range_reads_as_its_characteristic():
    result = call("decode", "60F0", "F0D8", "--attribute", "temperature/valid range")
    assert [line[-2:] for line in lines(result)[1:]] == [["lower", "-40 °C"], ["upper", "-100 °C"]]


def test_an_appearance_by_name():
    """tshark 4.0.17 and bluetooth-sig 0.6.0 name 833 a heart rate belt."""
    assert lines(call("decode", "4103", "--as", "appearance"))[1][-1] == "833 (heart rate sensor: heart rate belt)"


def test_long_fields_and_narrow_terminals():
    words = ("decode", "1107407E1D6C0F2F3E8A864C539A02001D6B", "--advertising")
    assert [line.split("  ")[0].strip() for line in call(*words).stdout.splitlines()[2:]] == ["", ""]
    narrow = call("decode", "66080102", "--as", "hex", columns=40).stdout.splitlines()
    assert [len(line) <= 40 for line in narrow] == [True] * 3


@pytest.mark.parametrize("typed", ["6608", "66 08", "66:08", "66-08", "0x66,0x08", "0x6608", "66\t08"])
def test_ways_to_write_bytes(typed):
    assert lines(call("decode", typed, "--as", "temperature"))[1][-1] == "21.5 °C"


def test_an_advertising_payload():
    """bumble 0.0.236 and tshark 4.0.17 read it alike."""
    result = call("decode", "020106", "0303", "0D18", "--advertising")
    assert lines(result)[1] == ["0", "3", "02 01 06", "flags", "general discoverable, BR/EDR not supported"]
    assert lines(result)[2][-1] == "heart rate (180D)"


def test_a_malformed_payload():
    """tshark flags it as malformed."""
    result = call("decode", "020106090941", "--advertising", "--json")
    assert result.exit_code == 1
    assert json.loads(result.stdout)["fields"][1]["value"] is None


def test_a_presentation_format():
    """tshark 4.0.17 and bluetooth-sig 0.6.0 read sint16, exponent -2, degree Celsius of the Bluetooth SIG."""
    result = call("decode", "--presentation", "0EFE2F27010000")
    assert [line[-1] for line in lines(result)[1:6]] == ["sint16", "× 10^-2", "°C (0x272F)", "Bluetooth SIG", "unknown"]
    assert result.stdout.splitlines()[-1] == "A value reads as sint16 × 0.01 °C."


@pytest.mark.parametrize(
    ("octets", "said"),
    [
        ("1DFE2F27010000", "the presentation format 0x1D is reserved"),
        ("0EFE2F270100", "the value ends here: expected 2 bytes, found 1"),
    ],
)
def test_a_bad_presentation_format(octets, said):
    result = call("decode", "--presentation", octets)
    assert (result.exit_code, said in result.stdout) == (1, True)


def test_a_value_that_a_presentation_format_describes():
    """Raw 3892 with exponent -3 is 3.892: an example of the SIG's older descriptor document (2017)."""
    result = call("decode", "340F", "--presentation", "06FD0027010000", "--json")
    assert json.loads(result.stdout)["value"] == 3.892


def test_an_address_and_a_key():
    """Sample data of the function ah, Core specification Vol 3 Part H appendix D."""
    words = ("decode", "--address", "70:81:94:0D:FB:AA", "--irk")
    result = call(*words, "ec0234a357c8ad05341010a60a397d9b")
    assert (result.exit_code, "the address belongs to it" in result.stdout) == (0, True)
    other = call(*words, "00" * 16, "--json")
    assert (other.exit_code, json.loads(other.stdout)["keys"][0]["resolves"]) == (5, False)


def test_the_kind_of_an_address():
    result = call("decode", "--address", "c0:11:22:33:44:55", "--json")
    assert json.loads(result.stdout) == {"address": "C0:11:22:33:44:55", "random_kind": "static", "keys": []}


def test_a_binary_file(tmp_path):
    (tmp_path / "value").write_bytes(b"\x66\x08")
    assert lines(call("decode", "--file", tmp_path / "value", "--as", "temperature"))[1][-1] == "21.5 °C"


def test_values_from_standard_input_one_a_line():
    result = call("decode", "--file", "-", "--as", "temperature", stdin="6608\n\n4C95\n0000\n")
    assert result.exit_code == 1
    first, bad, last = result.stdout.splitlines()
    assert (first, last) == ("21.5 °C  [66 08]", "0 °C  [00 00]")
    assert bad.startswith("offset 0: -273.16 °C (0x954C) is outside the valid range")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["66"], "nothing says what the bytes are"),
        (["66", "--as", "uint8", "--advertising"], "cannot be several things"),
        (["66", "--as", "uint8", "--attribute", "humidity"], "each give a format"),
        (["--as", "uint8"], "the bytes are missing"),
        (["6X", "--as", "uint8"], "found 'X'"),
        (["661", "--as", "uint8"], "an odd number of digits"),
        (["66", "--as", "uint9"], "unknown format 'uint9'"),
        (["66", "--as", "batery level"], "did you mean 'battery level'"),
        (["66", "--as", "client characteristic config"], "did you mean 'client characteristic configuration'"),
        (["66", "--as", "report map"], "the format of 'report map' is not known here"),
        (["66", "--attribute", "humidty"], "humidity"),
        (["66", "--attribute", "report map"], "--as"),
        (["66", "--as", "uint8", "--irk", "00"], "--irk goes with --address"),
        (["66", "--address", "C0:11:22:33:44:55"], "give either HEX or --address"),
        (["--address", "nobody"], "not an address"),
        (["--address", "C0:11:22:33:44:55", "--irk", "00"], "16 bytes, found 1"),
        (["--file", "/nonexistent", "--as", "uint8"], "cannot be read"),
        (["66", "--as", "uint8", "--plan", "p.yaml"], "--plan goes with --attribute"),
    ],
)
def test_wrong_usage(words, said):
    result = call("decode", *words)
    assert (result.exit_code, said in result.stderr) == (4, True)


def test_text_of_a_device_cannot_steer_the_terminal():
    result = call("decode", "1B5B324A", "--as", "utf8")
    assert "\x1b" not in result.stdout
    assert "\\x1b[2J" in result.stdout


def test_an_output_that_knows_only_ascii(tmp_path: Path):
    done = benchrig(
        "decode", "6608", "--as", "temperature", cwd=tmp_path, env={"LC_ALL": "C", "PYTHONIOENCODING": "ascii"}
    )
    assert (done.returncode, done.stdout.splitlines()[1].split()[-3:]) == (0, ["21.5", "deg", "C"])


@settings(max_examples=60, deadline=None)
@given(octets=st.binary(max_size=40), way=st.sampled_from([["--advertising"], *(["--as", name] for name in NAMES)]))
def test_any_bytes_are_taken_apart_or_refused(octets, way):
    result = call("decode", octets.hex() or "0x", *way)
    assert result.exit_code in (0, 1), result.stderr


def test_no_radio_is_loaded():
    code, modules = started("decode", "6608", "--as", "temperature")
    assert (code, modules & {"bleak", "bumble", "dbus_fast"}) == (0, set())
