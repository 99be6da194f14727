import random
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.errors import PlanError
from benchrig.radio.virtual import devices_of, load_devices
from benchrig.radio.virtual.device_spec import Beacon
from benchrig.radio.virtual.value_reading import source_of
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from benchrig.values.format import FormatSpec, build_format
from tests.radio.virtual.bench import LOGGER, OWN, characteristic, models, problems_of


def only(text):
    (model,) = models(text)
    return model


def test_the_smallest_device():
    model = only("device: one\n")
    assert model.advertised.data == bytes.fromhex("020106 04096f6e65")
    assert (model.mtu, model.advertised.interval, model.rssi.dbm) == (247, 0.1, -50)
    assert int(model.own_address[:2], 16) >> 6 == 0b11
    assert [one.service[4:8] for one in model.table] == ["1800"]


def test_a_made_address_depends_on_the_name_alone():
    assert (
        only("device: one\nmtu: 23\n").own_address
        == only("device: one\n").own_address
        != only("device: two\n").own_address
    )


def test_a_long_name_is_shortened_in_the_default_payload():
    data = only(f"device: {'é' * 20}\n").advertised.data
    assert len(data) == 3 + 2 + 26
    assert data[3:5] == bytes((27, 0x08))


def test_all_kinds_of_advertising_data():
    text = """
device: one
advertising:
  data: {flags: 0x04, short_name: lo, tx_power: -12 dBm, appearance: 0x0341, manufacturer: {company: 0xFFFF, data: '01 02'}}
  scan_response: {service_data: {battery: '55'}, services: [6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40], raw: '0941'}
"""
    model = only(text)
    assert model.advertised.data.hex() == "020104" + "020af4" + "03194103" + "05ffffff0102" + "03086c6f"
    assert model.advertised.scan_response.hex() == "1107407e1d6c0f2f3e8a864c539a02001d6b" + "04160f1855" + "0941"


def test_others_have_names_and_addresses_of_their_own():
    found = models("others: [{count: 3, name: 'tag {number}'}, {count: 1, name: 'tag 1'}]")
    assert [model.name for model in found] == ["tag 1", "tag 2", "tag 3", "tag 1"]
    assert len({model.own_address for model in found}) == 4
    assert all(isinstance(model, Beacon) and not model.advertised.connectable for model in found)


def test_several_devices_in_one_file():
    assert [model.name for model in models("devices: [{device: one}, {device: two}]\nothers: [{}]")] == [
        "one",
        "two",
        "other 1",
    ]


def test_files_are_loaded_from_disk(tmp_path):
    good, bad = tmp_path / "good.yaml", tmp_path / "bad.yaml"
    good.write_text("device: one\n")
    bad.write_text("device: two\nmtu: 9\n")
    problems = Problems()
    assert [model.name for model in load_devices([good, bad, tmp_path / "none.yaml"], problems)] == ["one"]
    with pytest.raises(PlanError) as caught:
        problems.raise_if_any()
    assert [p.place.source.name for p in caught.value.problems] == [str(bad), str(tmp_path / "none.yaml")]


def test_two_files_with_one_device(tmp_path):
    for name in ("one.yaml", "two.yaml"):
        (tmp_path / name).write_text("mtu: 23\ndevice: one\n")
    problems = Problems()
    load_devices([tmp_path / "one.yaml", tmp_path / "two.yaml"], problems)
    places = [(p.place.source.name, p.place.line, p.message) for p in problems.found]
    assert places[0] == (str(tmp_path / "two.yaml"), 2, "a second device with the name 'one'")


WRONG = [
    ("mtu: 9", "1:1 the key 'device' is missing"),
    ("device: one\nmtu: 9", "2:6 an MTU is 23 to 517, found 9"),
    ("device: ' '", "1:9 a device needs a name"),
    ("device: one\ncolour: red", "2:1 unknown key 'colour'"),
    ("device: one\naddress: 'C0:11'", "2:10 expected an address, found the text 'C0:11'"),
    ("device: one\naddress: '80:11:22:33:44:55'", "2:10 the top bits of this address are 10: reserved, not random"),
    (
        "device: one\naddress: '40:11:22:33:44:55'\naddress_type: static",
        "2:10 the top bits of this address are 01: resolvable, not static",
    ),
    ("device: one\naddress_type: public", "2:15 a public address has to be given"),
    ("device: ${name}", "1:9 a device file has no references, found ${name}"),
    ("device: one\nrssi: {mean: -50}", "2:14 expected a level with its unit, found the number -50"),
    ("device: one\nrssi: {mean: 50 dBm}", "2:14 a signal strength is -127 to 20 dBm, found 50 dBm"),
    ("device: one\nadvertising: {interval: 10 ms}", "2:25 an advertising interval is 20 ms to 10.24 s, found 10 ms"),
    ("device: one\nadvertising: {scannable: false}", "2:26 a connectable device is scannable"),
    ("device: one\nadvertising: {data: {raw: 0102}}", "2:27 "),
    ("device: one\nadvertising: {data: {flags: 256}}", "2:29 the flags are one byte, found 256"),
    ("device: one\nadvertising: {data: {tx_power: 0.5 dBm}}", "2:32 a transmit power is a whole number"),
    ("device: one\nadvertising: {data: {services: [heart]}}", "2:33 unknown service 'heart'"),
    ("device: one\nadvertising: {data: {service_data: {heart: '55'}}}", "2:44 unknown service 'heart'"),
    (f"device: one\nadvertising: {{data: {{name: {'a' * 30}}}}}", "2:21 32 bytes of advertising data; at most 31 fit"),
    (
        f"device: one\nadvertising: {{scan_response: {{name: {'a' * 30}}}}}",
        "2:30 32 bytes of scan response data; at most 31 fit",
    ),
    (
        "devices: [{device: one}, {device: one, address: 'C0:11:22:33:44:55'}]",
        "1:35 a second device with the name 'one'",
    ),
    ("others: [{count: 0}]", "1:18 1 to 5000 devices, found 0"),
    ("device: one\nfaults: {refuse_connections: -1}", "2:30 expected a number from 0 on, or all; found the number -1"),
    ("device: one\nweaknesses: [{against: unknown opcodes, does: hang}]", "2:24 expected one of long value"),
    ("device: one\nweaknesses: [{against: small MTU}]", "2:14 a weakness needs either does or att_error"),
    (
        "device: one\nweaknesses: [{against: small MTU, does: hang, times: 0}]",
        "2:54 expected a number from 1 on, found 0",
    ),
    ("device: one\nweaknesses: [{against: SMP garbage, does: accept}]", "2:43 there is no ATT answer to SMP garbage"),
    (
        "device: one\nweaknesses: [{against: unknown channel, att_error: 0x80}]",
        "2:52 there is no ATT answer to unknown channel",
    ),
]


@pytest.mark.parametrize(("text", "problem"), WRONG, ids=[problem for _, problem in WRONG])
def test_what_is_wrong_is_said_at_its_place(text, problem):
    assert [found for found in problems_of(text) if found.startswith(problem)], problems_of(text)


TEMPERATURE = {"characteristic": "temperature", "properties": "[read]"}
WRONG_CHARACTERISTICS = [
    ({}, "the value is missing"),
    ({"value": "21.5"}, "expected a number with its unit, found 21.5"),
    ({"value": "21.5 V"}, "21.5 V is a voltage, not a temperature"),
    ({"value": "21.555 °C"}, "21.555 °C cannot be carried in steps of 0.01"),
    ({"value": "-300 °C"}, "-300 °C (0x8AD0) is outside the valid range"),
    ({"value": "cold"}, "expected a number (sint16 × 0.01 °C) or one of its words, found"),
    ({"value": "1 °C", "raw": "'00'"}, "'value' and 'raw' exclude each other"),
    ({"value": "{noise: {mean: 1 °C}}"}, "the key 'sd' is missing"),
    ({"value": "{noise: {mean: 1 °C, sd: -1 °C}}"}, "a standard deviation is not negative"),
    ({"value": "{noise: {mean: 1 °C, sd: 1 V}}"}, "1 V is a voltage, not a difference of temperature"),
    ({"value": "{ramp: {from: 1 °C, to: 2 °C, over: 0 s}}"}, "a ramp takes some time"),
    ({"value": "{ramp: {from: 1 °C, to: 2 °C, over: 3}}"}, "expected a time with its unit, found the number 3"),
    ({"value": "{counter: {start: 1.5}}"}, "expected a number with its unit, found 1.5"),
    ({"value": "{counter: {start: 0 °C, step: 0.015 °C}}"}, "the format has steps of 0.01 °C, found 0.015 °C"),
    ({"value": "{counter: {modulo: 400 °C}}"}, "the format ends before 327.68 °C, found 400 °C"),
    ({"value": "{counter: {modulo: 0 °C}}"}, "a counter starts again at some number above 0"),
    ({"value": "{sequence: []}"}, "expected a list of values"),
    ({"value": "{nois: 1}"}, "expected a value or one generator, found a mapping"),
    ({"properties": "[red]", "value": "1 °C"}, "expected one of broadcast, read"),
    ({"characteristic": "temprature", "value": "1 °C"}, "unknown characteristic 'temprature'"),
    ({"characteristic": OWN(2), "value": "1"}, "a value needs a format, and none is known for this UUID"),
    ({"as": "sint99", "value": "1"}, "unknown format 'sint99'"),
    ({"value": "1 °C", "notify": "{period: 1 s}"}, "'notify' needs the property notify or indicate"),
    ({"value": "1 °C", "properties": "[notify]", "notify": "{period: 0 s}"}, "a period is longer than nothing"),
    ({"value": "1 °C", "properties": "[notify]", "notify": "50 ms"}, "expected a mapping, found the text '50 ms'"),
    ({"value": "1 °C", "on_read": "{att_error: 0}"}, "expected an ATT error, found the number 0"),
    ({"value": "1 °C", "on_read": "{att_error: nonsense}"}, "unknown ATT error 'nonsense'"),
    ({"value": "1 °C", "on_read": "{silent: true, disconnect: true}"}, "'silent' and 'disconnect' exclude each other"),
    ({"value": "1 °C", "on_write": "{set: {nothing: 1}}"}, "this device has no characteristic 'nothing'"),
    (
        {"value": "1 °C", "on_write": "{notify: {temperature: written}}"},
        "'temperature' has neither notify nor indicate",
    ),
    ({"value": "1 °C", "on_write": "{set: {temperature: 1}}"}, "expected a number with its unit, found 1"),
    (
        {"value": "1 °C", "properties": "[notify]", "descriptors": "[{descriptor: '2902', raw: '0000'}]"},
        "this descriptor is added automatically",
    ),
    ({"value": "1 °C", "descriptors": "[{descriptor: '2901', value: 5}]"}, "expected text, found 5"),
    ({"as": "hex", "raw": f"'{'00' * 513}'"}, "513 bytes; an attribute holds at most 512"),
    ({"as": "hex", "raw": f"'{'00' * 245}'", "properties": "[notify]"}, "245 bytes; a notification holds 244"),
]


@pytest.mark.parametrize(("keys", "problem"), WRONG_CHARACTERISTICS, ids=[p for _, p in WRONG_CHARACTERISTICS])
def test_what_is_wrong_with_a_characteristic(keys, problem):
    found = problems_of(characteristic(**(TEMPERATURE | keys)))
    assert any(problem in one for one in found), found


def test_the_place_of_a_wrong_value_is_its_own():
    text = characteristic(**TEMPERATURE, value="{sequence: [1 °C, 2 V]}")
    line = text.splitlines()[-1]
    assert problems_of(text) == [f"8:{line.index('2 V') + 1} 2 V is a voltage, not a temperature"]


def test_all_mistakes_come_at_once():
    assert len(problems_of("device: one\nmtu: many\nrssi: {spread: 2}\ncolour: red\nadvertising: 5\n")) == 4


def test_two_characteristics_of_one_kind_need_names():
    one = "      - {characteristic: battery level, properties: [read], value: 5 %}\n"
    text = f"device: one\nservices:\n  - service: battery\n    characteristics:\n{one}{one}"
    assert problems_of(text) == ["6:9 the characteristic 'battery level' appears twice"]


def parsed(text):
    problems = Problems()
    node = read_text(text, "device.yaml", problems)
    return devices_of(node, problems) if node else [], problems.found


@given(st.text(max_size=200))
def test_any_text_gives_models_or_problems(text):
    found, problems = parsed(text)
    assert bool(found) != bool(problems) or text.strip() in ("{}", "devices: []", "others: []")


@pytest.mark.parametrize(
    ("advertising", "name"),
    [
        ("{}", b"one"),
        ("{data: {name: two}}", b"two"),
        ("{scan_response: {name: two}}", b"two"),
        ("{data: {short_name: o}}", b"one"),
    ],
)
def test_the_device_name_is_the_advertised_one(advertising, name):
    # Core Specification Supplement, Part A 1.2
    model = only(f"device: one\nadvertising: {advertising}")
    assert model.table[0].characteristics[0].source.pattern.examples() == [name]


def test_a_device_may_lack_generic_access():
    assert only("device: one\ngeneric_access: false").services == []


def test_a_descriptor_for_subscribing_may_stand_where_none_comes_by_itself():
    idle = only(
        characteristic(**(TEMPERATURE | {"value": "1 °C", "descriptors": "[{descriptor: '2902', raw: '0000'}]"}))
    )
    assert [one.descriptor[4:8] for one in idle.table[-1].characteristics[0].descriptors] == ["2902"]


KEYS = ["device", "address", "advertising", "rssi", "mtu", "services", "faults", "others", "devices", "address_type"]
WORDS = st.sampled_from(
    ["one", "5", "-1", "1 s", "3 dBm", "'00'", "null", "true", "[]", "{}", "[{}]", "{data: {}}", "[{service: battery}]"]
)


@given(st.dictionaries(st.sampled_from(KEYS), WORDS, max_size=6))
@settings(max_examples=80)
def test_any_keys_give_models_or_problems(entries):
    found, problems = parsed("".join(f"{key}: {word}\n" for key, word in entries.items()))
    assert not (found and problems)


VALUES = st.recursive(
    st.sampled_from(["1", "1.5", "1 °C", "x", "null", "true", "'00'", "1 V", "-9999999999 °C"]),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
        | st.dictionaries(
            st.sampled_from(
                ["constant", "ramp", "noise", "counter", "sequence", "mean", "sd", "from", "to", "over", "x"]
            ),
            inner,
            max_size=3,
        ).map(lambda entries: "{" + ", ".join(f"{k}: {v}" for k, v in entries.items()) + "}")
    ),
    max_leaves=8,
)


@given(VALUES, st.sampled_from(["temperature", "heart rate measurement", "device name", "battery level", "date time"]))
@settings(max_examples=80)
def test_any_value_gives_a_model_or_problems(value, name):
    found, problems = parsed(characteristic(characteristic=name, properties="[read]", value=value))
    assert bool(found) != bool(problems)


LONG = "00" * 513
TOO_LONG = [
    characteristic(characteristic=OWN(2), properties="[read]", raw=f"'{LONG}'"),
    characteristic(characteristic=OWN(2), properties="[read]", **{"as": "hex"}, value=f"'{LONG}'"),
    characteristic(
        characteristic=OWN(2), properties="[read]", **{"as": "uint8"}, value="1",
        descriptors=f"[{{descriptor: {OWN(3)}, raw: '{LONG}'}}]",
    ),
    characteristic(
        characteristic=OWN(2), properties="[write]", name="x", **{"as": "hex"}, value="''",
        on_write=f"{{set: {{x: '{LONG}'}}}}",
    ),
]  # fmt: skip


@pytest.mark.parametrize("text", TOO_LONG)
def test_a_value_longer_than_512_bytes_is_refused(text):
    [problem] = problems_of(text)
    assert "513 bytes; an attribute holds at most 512" in problem


def test_a_name_that_is_too_long():
    assert problems_of(f"device: {'n' * 249}\n") == ["1:9 a device name has at most 248 bytes"]


def test_a_file_is_read_once_until_it_changes(tmp_path):
    path = tmp_path / "one.yaml"
    path.write_text("device: one\n")
    [first], [again] = load_devices([path], Problems()), load_devices([path], Problems())
    assert first is again
    path.write_text("device: two\n")
    assert [one.name for one in load_devices([path], Problems())] == ["two"]


def test_what_is_wrong_with_a_file_is_said_each_time(tmp_path):
    path = tmp_path / "one.yaml"
    path.write_text("device: one\nmtu: 5\nfurther: 1\n")
    said = []
    for _ in range(2):
        problems = Problems()
        assert load_devices([path], problems) == []
        said.append([problem.message for problem in problems.found])
    assert said == [["unknown key 'further'"]] * 2


def test_the_logger_of_these_tests_is_sound():
    assert len(only(LOGGER).table) == 3


@pytest.mark.parametrize(
    ("keys", "counter", "expected"),
    [
        (
            {"as_": "uint8", "scale": Decimal("0.5"), "unit": "s"},
            {"start": "127 s", "step": "0.5 s"},
            [127, 127.5, 0, 0.5],
        ),
        (
            {"as_": "uint8", "scale": Decimal("0.5"), "unit": "s"},
            {"start": "126.5 s", "step": "1 s"},
            [126.5, 127.5, 0.5, 1.5],
        ),
        (
            {"as_": "uint8", "scale": Decimal("0.5"), "unit": "s"},
            {"start": "1 s", "step": "1 s", "modulo": "3 s"},
            [1, 2, 0, 1],
        ),
        ({"as_": "uint8"}, {"start": 254, "step": 3}, [254, 1, 4, 7]),
        ({"as_": "uint8"}, {"start": 1, "step": -1}, [1, 0, 255, 254]),
        ({"as_": "sint8"}, {"start": -2}, [-2, -1, 0, 1]),
        ({"as_": "sint8"}, {"start": 126}, [126, 127, 0, 1]),
        ({"as_": "uint8", "offset": Decimal("0.5")}, {}, [0.5, 1.5, 2.5, 3.5]),
        ({"as_": "uint8", "offset": Decimal("0.5")}, {"start": Decimal("254.5")}, [254.5, 255.5, 0.5, 1.5]),
        ({"as_": "uint8", "valid_max": Decimal("100")}, {"start": 99}, [99, 100, 0, 1]),
        ({"as_": "uint4"}, {"start": 14}, [14, 15, 0, 1]),
        ({"as_": "medfloat16"}, {"start": 2044}, [2044, 2045, 0, 1]),
        ({"as_": "medfloat16"}, {"start": Decimal("204.4"), "step": Decimal("0.1")}, [204.4, 204.5, 0, 0.1]),
        ({"as_": "medfloat32"}, {"start": 8388604}, [8388604, 8388605, 0, 1]),
        ({"as_": "float32"}, {"start": 16777215}, [16777215, 16777216, 0, 1]),
        ({"as_": "float64", "unit": "V"}, {"start": "1 V", "step": "2 V"}, [1, 3, 5, 7]),
    ],
)
def test_a_counter_of_any_format_begins_anew_where_it_ends(keys, counter, expected):
    form = build_format(FormatSpec(**keys))
    source, rng = source_of({"counter": counter}, form), random.Random(1)
    assert [form.decode(source.take(0.0, rng)) for _ in expected] == pytest.approx(expected)


def test_a_counter_begins_anew_after_the_largest_number_of_its_format():
    source = source_of({"counter": {"start": 254}}, build_format(FormatSpec(as_="uint8")))
    assert [source.take(0.0, random.Random(1)) for _ in range(4)] == [b"\xfe", b"\xff", b"\x00", b"\x01"]


def test_a_uuid_is_written_as_in_plans():
    text = """device: a
services:
  - service: 0x180F
    characteristics:
      - {characteristic: 0x2A19, properties: [read], value: 5 %}
"""
    problems = Problems()
    [model] = devices_of(read_text(text, "a.yaml", problems), problems)
    assert problems.found == []
    assert "0000180f-0000-1000-8000-00805f9b34fb" in [one.service for one in model.table]
    devices_of(read_text(text.replace("0x180F", "1810"), "a.yaml", problems), problems)
    assert "decimal number" in problems.found[0].message
