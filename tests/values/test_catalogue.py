from __future__ import annotations

import pytest
from bumble.att import ErrorCode

from benchrig.errors import MalformedValue
from benchrig.source.shape import Misfit
from benchrig.values import catalogue
from benchrig.values.assigned import assigned
from benchrig.values.units import unit_named

BASE = "-0000-1000-8000-00805f9b34fb"
OWN = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"


@pytest.mark.parametrize(
    ("name", "kind", "short"),
    [
        ("heart rate measurement", None, "2a37"),
        ("Heart  Rate Measurement", "characteristic", "2a37"),
        ("serial number", None, "2a25"),
        ("serial number string", None, "2a25"),
        ("co2 concentration", None, "2b8c"),
        ("environmental sensing", "service", "181a"),
        ("battery service", None, "180f"),
        ("battery", "service", "180f"),
        ("gap", None, "1800"),
        ("generic access", None, "1800"),
        ("current time", None, "2a2b"),
        ("current time", "service", "1805"),
        ("valid range", None, "2906"),
        ("user description", "descriptor", "2901"),
        ("cccd", None, "2902"),
    ],
)
def test_uuid_of(name, kind, short):
    assert catalogue.uuid_of(name, kind) == f"0000{short}{BASE}"


@pytest.mark.parametrize(("name", "kind"), [("temprature", None), ("temperature", "service"), ("", None)])
def test_an_unknown_name_has_no_uuid(name, kind):
    assert catalogue.uuid_of(name, kind) is None


@pytest.mark.parametrize(
    ("uuid", "kind", "name"),
    [
        (0x2A25, None, "serial number string"),
        ("2A37", None, "heart rate measurement"),
        (f"0000180f{BASE}", None, "battery"),
        ("2902", "descriptor", "client characteristic configuration"),
        ("2902", "service", None),
        (OWN, None, None),
        (0xFFFF, None, None),
    ],
)
def test_name_of(uuid, kind, name):
    assert catalogue.name_of(uuid, kind) == name


@pytest.mark.parametrize(
    ("text", "normal", "short"),
    [
        ("2A6E", f"00002a6e{BASE}", "2A6E"),
        ("0x2a6e", f"00002a6e{BASE}", "2A6E"),
        ("12345678", f"12345678{BASE}", "12345678"),
        (OWN.upper(), OWN, OWN),
        (f"00002A6E{BASE.upper()}", f"00002a6e{BASE}", "2A6E"),
    ],
)
def test_uuids_have_a_normal_and_a_short_form(text, normal, short):
    assert catalogue.normal_uuid(text) == normal
    assert catalogue.short_uuid(text) == short


@pytest.mark.parametrize("text", ["", "2A6", "2A6EE", "temperature", OWN.replace("-", ""), OWN + "0", "2A6E\n"])
def test_what_is_no_uuid(text):
    with pytest.raises(Misfit, match="is not a UUID"):
        catalogue.normal_uuid(text)


@pytest.mark.parametrize("uuid", ["2A6E", f"00002a6e{BASE}", 0x2A6E])
def test_a_definition_is_found_by_any_form_of_the_uuid(uuid):
    form = catalogue.definition(uuid)

    assert form is not None
    assert form.describe() == "sint16 × 0.01 °C"


@pytest.mark.parametrize("uuid", [OWN, "12342A6E", 0x2A2A])
def test_an_attribute_without_a_definition(uuid):
    assert catalogue.definition(uuid) is None


def test_every_definition_can_be_built_and_belongs_to_a_name():
    for uuid in assigned().definitions:
        assert catalogue.definition(uuid) is not None
        assert catalogue.name_of(uuid) is not None


def test_a_name_means_one_attribute_among_characteristics_and_descriptors():
    assert not catalogue.characteristics().keys() & catalogue.descriptors().keys()


def test_aliases_lead_to_numbers_that_are_assigned():
    for kind, names in assigned().aliases.items():
        assert all(catalogue.name_of(uuid, kind) for uuid in names.values())


def test_every_unit_symbol_is_a_unit():
    for number, symbol in assigned().units.items():
        assert symbol == "" or unit_named(symbol).symbol == symbol, number


@pytest.mark.parametrize(
    ("number", "symbol"),
    [(0x2700, ""), (0x272F, "°C"), (0x27AD, "%"), (0x2781, "mmHg"), (0x27C4, "ppm"), (0x27BB, None), (0x2706, None)],
)
def test_unit_symbols(number, symbol):
    assert catalogue.unit_symbol(number) == symbol


def test_att_errors_are_those_that_bumble_knows():
    ours = {int(code, 16): name for code, name in assigned().att_errors.items()}
    theirs = {code.value: code.name.lower().replace("_", " ") for code in ErrorCode}

    # The words of the Core specification (Vol 3 Part F 3.4.1.1), which bumble shortens.
    theirs |= {0x0C: "encryption key size too short", 0x0D: "invalid attribute value length"}

    assert ours == theirs


@pytest.mark.parametrize(
    ("name", "code"),
    [("write not permitted", 0x03), ("Out of Range", 0xFF), ("0x80", 0x80), ("application error 0x9f", 0x9F)],
)
def test_att_error_codes(name, code):
    assert catalogue.att_error_code(name) == code


@pytest.mark.parametrize("code", range(1, 256))
def test_every_code_has_a_name_that_leads_back(code):
    assert catalogue.att_error_code(catalogue.att_error_name(code)) == code


@pytest.mark.parametrize("name", ["write not premitted", "0x00", "0x100", ""])
def test_what_is_no_att_error(name):
    with pytest.raises(Misfit, match="unknown ATT error"):
        catalogue.att_error_code(name)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ("0E FE 2F 27 01 00", "a presentation format has 7 bytes, found 6"),
        ("00 00 00 27 01 00 00", "the presentation format 0x00 is reserved"),
        ("1D 00 00 27 01 00 00", "the presentation format 0x1D is reserved"),
    ],
)
def test_what_is_no_presentation_format(data, sentence):
    with pytest.raises(MalformedValue, match=sentence):
        catalogue.format_from_presentation(bytes.fromhex(data))


@pytest.mark.parametrize("code", range(0x01, 0x1D))
@pytest.mark.parametrize("exponent", [-128, 0, 127])
def test_every_assigned_presentation_format_is_a_format(code, exponent):
    data = bytes([code]) + exponent.to_bytes(1, "little", signed=True) + bytes.fromhex("2F 27 01 00 00")

    form = catalogue.format_from_presentation(data)
    value = form.decode(b"\1" * form.size if form.size else b"\1\1")

    assert form.decode(form.encode(value)) == value
