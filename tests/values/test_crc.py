"""CRCs: against the catalogue's check values, and against the standard library and anycrc as referees."""

from __future__ import annotations

import binascii
import re
import zlib

import anycrc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.shape import LooseText, Misfit
from benchrig.values.crc import Crc, algorithms

DATA = st.binary(max_size=80)


@pytest.mark.parametrize("name", algorithms())
def test_the_check_value_of_the_catalogue(name):
    algorithm = algorithms()[name]
    assert algorithm.of(b"123456789") == algorithm.check
    assert algorithm.check == anycrc.models[as_anycrc(name)].check


def as_anycrc(name: str) -> str:
    return re.sub(r"^CRC-(\d+)/", r"CRC\1-", name)


@pytest.mark.parametrize(
    ("name", "check"),
    [("CRC-16/IBM-3740", 0x29B1), ("CRC-16/KERMIT", 0x2189), ("CRC-16/XMODEM", 0x31C3), ("CRC-16/MODBUS", 0x4B37),
     ("CRC-32/ISO-HDLC", 0xCBF43926), ("CRC-32/ISCSI", 0xE3069283), ("CRC-8/SMBUS", 0xF4), ("CRC-24/OPENPGP", 0x21CF02),
     ("CRC-64/XZ", 0x995DC9BBDF1939FA)],
)  # fmt: skip
def test_well_known_check_values(name, check):
    """From reveng.sourceforge.io/crc-catalogue; that of OpenPGP is RFC 4880's, that of ISCSI RFC 3720's algorithm."""
    assert algorithms()[name].of(b"123456789") == check


@given(DATA)
def test_the_standard_library_agrees(data):
    assert algorithms()["CRC-16/XMODEM"].of(data) == binascii.crc_hqx(data, 0)
    assert algorithms()["CRC-32/ISO-HDLC"].of(data) == zlib.crc32(data)


@given(st.sampled_from(sorted(algorithms())), DATA)
def test_an_independent_library_agrees(name, data):
    assert algorithms()[name].of(data) == anycrc.Model(as_anycrc(name)).calc(data)


@given(st.sampled_from(sorted(algorithms())), DATA.filter(bool), st.sampled_from(["little", "big"]), st.data())
def test_data_with_its_crc_fits_and_with_a_flipped_bit_does_not(name, data, order, drawn):
    crc = Crc.from_source({"name": name, "order": order})
    whole = data + algorithms()[name].of(data).to_bytes(crc.size, order)
    assert crc.fits(whole)
    place = drawn.draw(st.integers(0, 8 * len(whole) - 1))
    flipped = bytearray(whole)
    flipped[place // 8] ^= 1 << place % 8
    assert not crc.fits(flipped)
    assert crc.words in crc.misfit(bytes(flipped), "it")


@pytest.mark.parametrize("value", [5, None, [], {}, {"order": "big"}, {"name": "CRC-8/SMBUS", "size": 1}])
def test_what_names_no_crc(value):
    with pytest.raises(Misfit, match="expected the name of a CRC"):
        Crc.from_source(value)


def test_a_name_from_outside():
    assert Crc.from_source(LooseText("CRC-8/SMBUS")).size == 1
    with pytest.raises(Misfit) as unknown:
        Crc.from_source("crc-16/kermit")
    assert unknown.value.advice == "did you mean 'CRC-16/KERMIT'?"
