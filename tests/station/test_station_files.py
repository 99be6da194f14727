"""What can be known to be wrong of the station file of a line without anything else."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.station.station import Station, load_station

SOUND = r"""
station: line 3
people: 'P-\d{4}'
radios:
  left: {radio: 'host:hci0'}
  right: {radio: 'host:hci1'}
slots:
  '1': {radio: left, label: SLOT 1}
  '2': {radio: right}
products:
  logger: {barcode: '(?P<serial>VFL3-\d{6})', plan: plan.yaml, given: {firmware: '3'}}
  box: {barcode: '(?P<serial>PTB2-\d{6})', plan: plan.yaml}
references:
  golden: {label: VFL3-000001}
  worn: {label: VFL3-000002, fails: read battery level}
retest: {most: 1, causes: [link]}
takt: 45 s
"""


def problems(folder: Path, text: str) -> list[tuple[int, str, str]]:
    path = folder / "station.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        load_station(path)
    return [(each.place.line, each.message, each.advice) for each in caught.value.problems]


def test_a_sound_line(tmp_path: Path) -> None:
    (tmp_path / "station.yaml").write_text(SOUND, encoding="utf-8")
    assert load_station(tmp_path / "station.yaml").slot_names == ["1", "2"]


CHANGES = [
    ("label: SLOT 1", "label: '2'", "the label of slot 1 is '2', as is the name of slot 2", ""),
    ("label: SLOT 1", "label: end", "the label of slot 1 is 'end', and END is a word of the line", ""),
    ("label: SLOT 1", "label: VFL3-000001", "the label of 'golden' is 'VFL3-000001', as is the label of slot 1", "golden:"),
    ("label: SLOT 1", "label: VFL3-000009", "the pattern of the product 'logger' also fits the label of slot 1", "logger:"),
    ("label: VFL3-000002", "label: VFL3-000001", "the label of 'worn' is 'VFL3-000001', as is the label of 'golden'", ""),
    ("label: VFL3-000002", "label: VFL4-000002", "expected a label that fits one product, found none for 'VFL4-000002'", ""),
    ("PTB2-", "PTB2|VFL3-", "expected a label that fits one product, found 'logger' and 'box' for 'VFL3-000001'", "golden:"),
    ("PTB2-", "VFL3-", "the pattern of the product 'box' is that of the product 'logger' too: a label would fit both", "box:"),
    (r"(?P<serial>PTB2-\d{6})", ".*", "the pattern of the product 'box' also fits the name of slot 1", ""),
    (r"(?P<serial>PTB2-\d{6})", r"\d*", "the pattern of the product 'box' also fits the name of slot 1", ""),
    (r"P-\d{4}", "[A-Z]+", "the pattern of a badge also fits the words of the line: RETEST, REPAIRED, CLEAR, END, HELP", ""),
    (r"P-\d{4}", "V.*", "the pattern of a badge also fits the label of 'golden'", ""),
    ("given: {firmware", "given: {serial", "the barcode gives 'serial' already", ""),
    ("radio: left", "radio: lift", "the station has no radio 'lift'", ""),
    ("{radio: right}", "{fixture: {name: nest}}", "the slot '2' has no radio", "'2':"),
    ("radio: right", "radio: left", "no slot uses the radio 'right'", "right:"),
    ("host:hci1", "host:hci0", "the radios 'left' and 'right' are the same one, host:hci0", "right:"),
    ("host:hci1", "hust", "unknown radio 'hust'", ""),
    ("host:hci1", "virtual:a.yaml", "virtual:a.yaml is simulated, and other radios of the station are real", ""),
    ("takt: 45 s", "rehearsal: {unit: a.yaml}", "a rehearsal needs simulated radios, found host:hci0", "left:"),
    ("takt: 45 s", "takt: 0 s", "expected a time above 0", ""),
    ("takt: 45 s", "console: 'tcp:a:1'", "the slots '1' and '2' have the same console", "'2':"),
    ("takt: 45 s", "power: {up: [a], down: [b]}", "the slots '1' and '2' have the same power", "'2':"),
    ("takt: 45 s", "prove: {listen: 5 s, within: 2 s}", "2 s is over before 5 s of listening", ""),
    ("takt: 45 s", "prove: {margin: -3 dB}", "expected 0 dB or more, found -3 dB", ""),
    ("takt: 45 s", "after_unit: {command: [lamp], within: 0 s}", "expected a time above 0", ""),
    ("takt: 45 s", "after_unit: {command: [lamp, '{verdikt}']}", "expected a word that is known here, found '{verdikt}'", ""),
    ("causes: [link]", "causes: []", "expected the causes after which a unit is tested again, found none", ""),
    ("causes: [link]", "causes: [station]", "a run of cause station judges no unit: it is tested anew anyway", ""),
    ("'2':", "a name that is long:", "expected the name of a slot, 1 to 12 characters, found 'a name that is long'", ""),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said", "at"), CHANGES)
def test_a_change_is_found_with_its_place(tmp_path: Path, old: str, new: str, said: str, at: str) -> None:
    """`at` is in the line of the place; '' for the one that was changed."""
    assert old in SOUND
    text = SOUND.replace(old, new)
    found = {message: (line, advice) for line, message, advice in problems(tmp_path, text)}
    line, advice = found[said]
    assert advice
    assert (at or new) in text.split("\n")[line - 1]


REHEARSAL = SOUND.replace("host:hci0", "virtual").replace("host:hci1", "virtual")


def test_a_pattern_may_fit_a_word_by_chance(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.write_text(SOUND.replace(r"PTB2-\d{6}", "[A-Z0-9]{6}"), encoding="utf-8")
    assert load_station(path).products["box"]


def test_a_rehearsal_has_simulated_radios(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.write_text(REHEARSAL + "rehearsal: {unit: 'units/{slot}-{serial}.yaml'}\n", encoding="utf-8")
    assert load_station(path).rehearsal


def test_a_word_of_a_rehearsal_is_one_of_each_barcode(tmp_path: Path) -> None:
    [(line, message, advice)] = problems(tmp_path, REHEARSAL + "rehearsal: {unit: '{serail}.yaml'}\n")[:1]
    assert (
        message
        == "expected a word that is known here, found '{serail}': no group of the barcode of 'logger' is called so"
    )
    assert (line, advice) == (18, "did you mean 'serial'?")


def test_a_station_that_names_no_radio_tests_over_that_of_the_system() -> None:
    station = Station("line 3")
    assert (station.slot_names, station.radio_of("1").radio) == (["1"], "host")
