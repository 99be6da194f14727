"""Definitions beyond the worked examples. Values: Bluetooth SIG GSS 2026, where no other source is named."""

from __future__ import annotations

import pytest

from benchrig.errors import MalformedValue
from benchrig.values import catalogue


def meaning(uuid: int, data: str):
    form = catalogue.definition(uuid)
    assert form is not None
    return form.decode(bytes.fromhex(data))


@pytest.mark.parametrize(
    ("uuid", "data", "value"),
    [
        (0x2A00, "72 69 67", "rig"),
        (0x2A05, "01 00 FF FF", {"first_handle": 1, "last_handle": 0xFFFF}),
        (0x2A06, "02", "high alert"),
        (0x2A07, "EC", -20),
        (0x2A09, "01", "Monday"),
        (0x2A0A, "EA 07 01 01 00 00 00 04", {"date_time": "2026-01-01T00:00:00", "day_of_week": "Thursday"}),
        (0x2A0C, "EA 07 01 01 00 00 00 04 40",
         {"date_time": "2026-01-01T00:00:00", "day_of_week": "Thursday", "fraction": 0.25}),
        (0x2A0D, "FF", "not known"),
        (0x2A0E, "80", "not known"),
        (0x2A0E, "38", 840),
        (0x2A14, "01 08 FF FF",
         {"source": "network time protocol", "accuracy": 1.0, "days": "at least 255 days", "hours": "at least 255 days"}),
        (0x2A1E, "00 6C 01 00 FF", {"flags": 0, "temperature": 36.4}),
        (0x2A1D, "09", "tympanum"),
        (0x2A21, "00 00", "not periodic"),
        (0x2A21, "FF FF", 65535),
        (0x2A29, "41 42", "AB"),
        (0x2A36, "00 5A 00 FF 07 FF 07", {"flags": 0, "cuff_pressure": 90, "unused_1": "NaN", "unused_2": "NaN"}),
        (0x2A38, "06", "foot"),
        (0x2A39, "01", "reset energy expended"),
        (0x2A76, "0B", 11),
        (0x2AFB, "FE FF FF", 167772.14),
        (0x2AFB, "FF FF FF", "not known"),
        (0x2B18, "40 00", 1.0),
        (0x2B8C, "FD FF", 65533),
        (0x2B8C, "FE FF", "above 65533 ppm"),
        (0x2B8C, "FF FF", "not known"),
        (0x2900, "03 00", {"flags": 3, "reliable_write": True, "writable_auxiliaries": True}),
        (0x2901, "69 6E", "in"),
        (0x2902, "01 00", {"flags": 1, "notify": True, "indicate": False}),
        (0x2904, "0E FE 2F 27 01 00 00",
         {"format": 14, "exponent": -2, "unit": 0x272F, "namespace": 1, "description": 0}),
        (0x2905, "10 00 20 00", {"handles": [0x10, 0x20]}),
        (0x2908, "01 02", {"report_id": 1, "report_type": "output"}),
    ],
)  # fmt: skip
def test_decodes(uuid, data, value):
    assert meaning(uuid, data) == value


@pytest.mark.parametrize(
    ("uuid", "data"),
    [
        (0x2A06, "03"), (0x2A07, "15"), (0x2A07, "9B"), (0x2A09, "08"), (0x2A0D, "01"), (0x2A0E, "39"),
        (0x2A1D, "00"), (0x2A1D, "0A"), (0x2A38, "07"), (0x2A39, "00"), (0x2A49, "00 02"), (0x2A50, "03" + "00" * 6),
        (0x2A04, "05 00 C8 00 00 00 F4 01"), (0x2A04, "06 00 C8 00 F4 01 F4 01"), (0x2A53, "08 00 00 00"),
        (0x2A5B, "04"), (0x2A9D, "10 00 00"), (0x2A2B, "EA 07 01 01 00 00 00 04 00 10"), (0x2902, "04 00"),
        (0x2A1C, "08 6C 01 00 FF"), (0x2A35, "20" + "00" * 6), (0x2B18, "81 FF"),
    ],
)  # fmt: skip
def test_refuses_reserved_and_prohibited_values(uuid, data):
    with pytest.raises(MalformedValue):
        meaning(uuid, data)


def test_the_blood_pressure_feature_names_its_bits():
    value = meaning(0x2A49, "01 01")

    assert [name for name, there in value.items() if there is True] == ["body_movement_detection", "user_facing_time"]


def test_a_weight_in_pounds_has_its_own_field():
    value = meaning(0x2A9D, "0D 10 27 07 F0 00 BC 02")

    assert value == {"flags": 13, "weight_pounds": 100.0, "user": 7, "bmi": 24.0, "height_inches": 70.0}


def test_the_pulse_range_of_a_blood_pressure_has_no_fourth_meaning():
    with pytest.raises(MalformedValue, match="pulse_range: 0x03 is reserved"):
        meaning(0x2A35, "10 78 00 50 00 5D 00 18 00")


def test_a_valid_range_has_the_format_of_its_characteristic():
    temperature = catalogue.definition(0x2A6E)
    assert temperature is not None

    value = catalogue.valid_range_format(temperature).decode(bytes.fromhex("60F0 581B"))

    assert value == {"lower": -40.0, "upper": 70.0}


@pytest.mark.parametrize(
    ("uuid", "units"),
    [
        # Kilojoule: the Heart Rate service (the characteristic's own page says joule).
        (0x2A37, {"flags": "", "contact": "", "heart_rate": "bpm", "energy_expended": "kJ", "rr_interval": "s"}),
        (0x2A53, {"flags": "", "running": "", "speed": "m/s", "cadence": "1/min", "stride_length": "m",
                  "total_distance": "m"}),
        (0x2A04, {"interval_min": "ms", "interval_max": "ms", "latency": "", "timeout": "ms"}),
        (0x2A0F, {"time_zone": "min", "dst_offset": ""}),
    ],
)  # fmt: skip
def test_fields_have_units(uuid, units):
    form = catalogue.definition(uuid)

    assert form is not None
    assert form.fields() == units


@pytest.mark.parametrize(
    ("uuid", "unit"),
    [(0x2A19, "%"), (0x2A6E, "°C"), (0x2A6F, "%"), (0x2A6D, "Pa"), (0x2A6C, "m"), (0x2AFB, "lx"), (0x2B8C, "ppm"),
     (0x2A07, "dBm"), (0x2A21, "s"), (0x2A0E, "min"), (0x2B18, "V"), (0x2A76, "")],
)  # fmt: skip
def test_single_values_have_units(uuid, unit):
    form = catalogue.definition(uuid)

    assert form is not None
    assert form.unit == unit


def test_a_weight_that_could_not_be_measured_is_no_weight():
    """Weight Scale service 1.0, from memory."""
    form = catalogue.definition(0x2A9D)
    assert form is not None
    value = form.decode(bytes.fromhex("00FFFF"))
    assert value == {"flags": 0, "weight": "measurement unsuccessful"}
