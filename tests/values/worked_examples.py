"""Worked examples of adopted characteristics: bytes in wire order and what they mean.

Each is confirmed by at least one program or text outside this project, named in `source`:

GSS        Bluetooth SIG GATT Specification Supplement, 2026
XML        the Bluetooth SIG's characteristic definitions of 2017
tshark     Wireshark's dissector 4.0.17, given the same bytes in a capture
sig        the PyPI package bluetooth-sig 0.6.0 (never for medical floats, whose exponent it reads as biased)
computed   worked out by hand from the GSS, where no program decodes it
HL7        HL7 Personal Health Device guide, "MderFLOATs and SFLOATs"
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Example:
    """Either `value` is what the bytes mean, or `error` is part of the sentence that refuses them. `encodes_back`
    says whether the value has no other bytes."""

    uuid: str
    data: str
    value: Any = None
    error: str = ""
    encodes_back: bool = True
    source: str = ""

    @property
    def octets(self) -> bytes:
        return bytes.fromhex(self.data)

    def __str__(self) -> str:
        return f"{self.uuid}-{self.data.replace(' ', '')}"


@dataclass(frozen=True)
class FloatExample:
    """A medical float by the number its octets make; `format` is medfloat16 or medfloat32."""

    format: str
    pattern: int
    value: Any = None
    error: str = ""
    encodes_back: bool = True
    source: str = ""

    @property
    def octets(self) -> bytes:
        return self.pattern.to_bytes(2 if self.format == "medfloat16" else 4, "little")

    def __str__(self) -> str:
        return f"{self.format}-{self.pattern:X}"


@dataclass(frozen=True)
class PresentationExample:
    """A presentation format descriptor, and what it makes of the bytes of a value."""

    descriptor: str
    data: str
    value: Any
    unit: str
    source: str


def _heart(flags: int, contact: str, heart_rate: int, **more: Any) -> dict[str, Any]:
    return {"flags": flags, "contact": contact, "heart_rate": heart_rate, **more}


NO = "not supported"

_STATUS = {"status": 0, "body_movement": False, "cuff_loose": False, "irregular_pulse": False,
           "pulse_range": "within range", "improper_position": False}  # fmt: skip

EXAMPLES = [
    # Battery Level
    Example("2A19", "55", 85, source="tshark, sig"),
    Example("2A19", "64", 100, source="tshark, sig"),
    Example("2A19", "65", error="101 % (0x65) is outside the valid range", source="GSS, sig"),
    # Heart Rate Measurement
    Example("2A37", "00 48", _heart(0, NO, 72), source="tshark, sig"),
    Example("2A37", "01 48 00", _heart(1, NO, 72), source="tshark, sig"),
    Example("2A37", "02 48", _heart(2, NO, 72), source="sig, GSS, XML"),
    Example("2A37", "04 48", _heart(4, "no contact", 72), source="sig, GSS, XML"),
    Example("2A37", "06 48", _heart(6, "contact", 72), source="sig, GSS, XML"),
    Example("2A37", "16 3C 00 04 00 02", _heart(0x16, "contact", 60, rr_interval=[1.0, 0.5]), source="tshark, sig"),
    Example("2A37", "1E 50 10 00 33 03 9A 02",
            _heart(0x1E, "contact", 80, energy_expended=16, rr_interval=[0.7998046875, 0.650390625]),
            source="tshark, sig; kilojoule: XML"),
    Example("2A37", "10 3C 00", error="rr_interval: the value ends within item 1", source="GSS"),
    Example("2A37", "10", error="the value ends within 'heart_rate'", source="GSS"),
    # Temperature
    Example("2A6E", "29 09", 23.45, source="sig"),
    Example("2A6E", "9C FF", -1.0, source="sig"),
    Example("2A6E", "F6 FF", -0.1, source="sig"),
    Example("2A6E", "FF 7F", 327.67, source="sig"),
    Example("2A6E", "4D 95", -273.15, source="sig"),
    Example("2A6E", "00 80", "not known", source="sig"),
    Example("2A6E", "4C 95", error="-273.16 °C (0x954C) is outside the valid range", source="sig, GSS"),
    # Humidity
    Example("2A6F", "88 13", 50.0, source="sig"),
    Example("2A6F", "10 27", 100.0, source="sig"),
    Example("2A6F", "FF FF", "not known", source="sig"),
    Example("2A6F", "11 27", error="100.01 % (0x2711) is outside the valid range", source="sig, GSS"),
    # Pressure, Elevation
    Example("2A6D", "CD 76 0F 00", 101345.3, source="sig"),
    Example("2A6D", "E8 77 0F 00", 101373.6, source="sig"),
    Example("2A6C", "10 27 00", 100.0, source="sig"),
    Example("2A6C", "F0 D8 FF", -100.0, source="sig"),
    # Temperature Measurement
    Example("2A1C", "00 6C 01 00 FF", {"flags": 0, "temperature": 36.4}, source="computed; the float: HL7"),
    Example("2A1C", "06 6C 01 00 FF EA 07 0C 19 0E 05 1E 02",
            {"flags": 6, "temperature": 36.4, "date_time": "2026-12-25T14:05:30", "temperature_type": "body"},
            source="tshark but for the float"),
    Example("2A1C", "01 D7 03 00 FF", {"flags": 1, "temperature_fahrenheit": 98.3}, source="computed"),
    # Blood Pressure Measurement
    Example("2A35", "1E 78 00 50 00 5D 00 E4 07 02 0F 0C 22 1E 48 00 01 00 00",
            {"flags": 0x1E, "systolic": 120, "diastolic": 80, "mean_arterial": 93, "date_time": "2020-02-15T12:34:30",
             "pulse_rate": 72, "user": 1, **_STATUS}, source="tshark"),
    Example("2A35", "00 B0 F4 20 F3 A2 F3", {"flags": 0, "systolic": 120, "diastolic": 80, "mean_arterial": 93},
            encodes_back=False, source="tshark"),
    # PnP ID
    Example("2A50", "02 6D 04 17 B0 01 00",
            {"vendor_id_source": "USB Implementers Forum", "vendor_id": 0x046D, "product_id": 0xB017,
             "product_version": 1}, source="tshark, sig"),
    Example("2A50", "01 59 00 34 12 00 01",
            {"vendor_id_source": "Bluetooth SIG", "vendor_id": 0x0059, "product_id": 0x1234,
             "product_version": 0x0100}, source="tshark, sig"),
    # System ID
    Example("2A23", "DE BC 9A FE FF 56 34 12", {"manufacturer_id": 0xFFFE9ABCDE, "organization_id": 0x123456},
            source="XML, sig"),
    Example("2A23", "EF CD AB 89 67 45 23 01", {"manufacturer_id": 0x6789ABCDEF, "organization_id": 0x012345},
            source="tshark"),
    # Date Time, Current Time
    Example("2A08", "E4 07 02 02 0C 22 38", "2020-02-02T12:34:56", source="tshark, sig"),
    Example("2A08", "00 00 00 00 00 00 00", "????-??-??T00:00:00", source="computed"),
    Example("2A2B", "E9 07 03 01 0A 1E 0F 06 80 01",
            {"date_time": "2025-03-01T10:30:15", "day_of_week": "Saturday", "fraction": 0.5, "adjust_reason": 1,
             "manual_update": True, "external_reference": False, "time_zone_change": False, "dst_change": False},
            source="tshark"),
    Example("2A2B", "EA 07 01 01 00 00 00 04 00 00",
            {"date_time": "2026-01-01T00:00:00", "day_of_week": "Thursday", "fraction": 0.0, "adjust_reason": 0,
             "manual_update": False, "external_reference": False, "time_zone_change": False, "dst_change": False},
            source="tshark"),
    # Cycling and running speed
    Example("2A5B", "03 E8 03 00 00 00 04 64 00 00 08",
            {"flags": 3, "wheel_revolutions": 1000, "wheel_event_time": 1.0, "crank_revolutions": 100,
             "crank_event_time": 2.0}, source="tshark, sig"),
    Example("2A53", "07 00 03 B4 64 00 E8 03 00 00",
            {"flags": 7, "running": True, "speed": 3.0, "cadence": 180, "stride_length": 1.0, "total_distance": 100.0},
            source="tshark, sig"),
    # Preferred Connection Parameters, Weight Measurement, Local Time Information
    Example("2A04", "06 00 C8 00 00 00 F4 01",
            {"interval_min": 7.5, "interval_max": 250.0, "latency": 0, "timeout": 5000}, source="sig"),
    Example("2A9D", "00 D4 30", {"flags": 0, "weight": 62.5}, source="sig"),
    Example("2A0F", "04 04", {"time_zone": 60, "dst_offset": "daylight time"}, source="sig"),
    # Appearance
    Example("2A01", "41 03", {"appearance": 833, "category": 13, "subcategory": 1}, source="tshark, sig"),
]  # fmt: skip


def _pair(short: int, long: int, value: Any, *, encodes_back: bool = True, source: str = "HL7") -> list[FloatExample]:
    return [
        FloatExample("medfloat16", short, value, encodes_back=encodes_back, source=source),
        FloatExample("medfloat32", long, value, encodes_back=encodes_back, source=source),
    ]


FLOATS = [
    *_pair(0x07FF, 0x007FFFFF, "NaN", source="HL7, tshark"),
    *_pair(0x0800, 0x00800000, "NRes", source="HL7, tshark"),
    *_pair(0x07FE, 0x007FFFFE, "+INF", source="HL7, tshark"),
    *_pair(0x0802, 0x00800002, "-INF", source="HL7, tshark"),
    FloatExample("medfloat16", 0x0801, error="0x0801 is reserved", source="HL7, tshark"),
    FloatExample("medfloat32", 0x00800001, error="0x00800001 is reserved", source="HL7"),
    *_pair(0x0002, 0x00000002, 2),
    *_pair(0xF014, 0xFF000014, 2, encodes_back=False),
    *_pair(0xE0C8, 0xFE0000C8, 2, encodes_back=False),
    # The guide's table prints 4098 for this FLOAT as a decimal number; 0x01000002 is 16777218.
    *_pair(0x1002, 0x01000002, 20, encodes_back=False),
    *_pair(0x2002, 0x02000002, 200, encodes_back=False),
    *_pair(0x00C8, 0x000000C8, 200),
    *_pair(0x04D2, 0x000004D2, 1234),
    *_pair(0x0B2E, 0x00FFFB2E, -1234),
    FloatExample("medfloat16", 0x0072, 114, source="tshark"),
    FloatExample("medfloat16", 0xF072, 11.4, source="tshark"),
    FloatExample("medfloat32", 0xFF00016C, 36.4, source="computed; Stack Overflow 60841331"),
    FloatExample("medfloat16", 0xFFFF, -0.1, source="tshark"),
    FloatExample("medfloat32", 0xFE000D97, 34.79, source="Stack Overflow 60841331"),
    FloatExample("medfloat32", 0xFE000E71, 36.97, source="Stack Overflow 60841331"),
    FloatExample("medfloat16", 0x8001, 1e-8, source="tshark"),
    FloatExample("medfloat16", 0x7001, 10_000_000, encodes_back=False, source="tshark"),
    FloatExample("medfloat16", 0xF7FF, 204.7, source="tshark: special values have exponent 0"),
    # the extreme legal mantissas
    FloatExample("medfloat16", 0x07FD, 2045, source="tshark"),
    FloatExample("medfloat16", 0x0803, -2045, source="tshark"),
    FloatExample("medfloat32", 0x007FFFFD, 8388605, source="computed"),
    FloatExample("medfloat32", 0x00800003, -8388605, source="computed"),
]

PRESENTATIONS = [
    PresentationExample("0E FE 2F 27 01 00 00", "29 09", 23.45, "°C", "tshark, sig"),
    PresentationExample("04 00 AD 27 01 01 00", "55", 85, "%", "tshark"),
    PresentationExample("06 02 00 27 01 00 00", "17 00", 2300, "", "XML"),
    PresentationExample("06 FD 00 27 01 00 00", "34 0F", 3.892, "", "XML"),
    PresentationExample("16 00 81 27 01 00 00", "B0 F4", 120, "mmHg", "GSS: no exponent for medfloat"),
    PresentationExample("19 00 00 27 01 00 00", "68 69", "hi", "", "GSS"),
    PresentationExample("18 00 00 27 01 00 00", "01 00 02 00", [1, 2], "", "GSS: uint16[2]"),
    PresentationExample("1B 00 00 27 01 00 00", "DE AD", b"\xde\xad", "", "GSS: opaque structure"),
]
