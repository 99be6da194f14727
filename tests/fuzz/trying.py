"""One input tried: what came of it, '' when all is well."""

from __future__ import annotations

import contextlib
import random
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from click.testing import CliRunner

from benchrig.cli import main
from benchrig.errors import PlanError, UsageError
from benchrig.line.barcode import Refusal, read
from benchrig.line.checking import Found, checked
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems
from benchrig.station.station import load_station
from benchrig.text.escape import plain
from tests.fuzz import mutate

PLANS = Path(__file__).parents[2] / "testplans"
CODES = (0, 1, 2, 4, 5, 7)
STATION = "station: line 2\nradio: virtual:device.yaml\nresults: results\nforbid: [command]\ngiven: {serial: VFL3-000042}\nrssi_offset: 1 dB\n"
LINE = r"""station: line 3
results: results
takt: 45 s
people: 'P-\d{4}'
radios:
  left: {radio: 'host:hci0', links: 2}
  right: {radio: 'host:hci1'}
slots:
  '1': {radio: left, label: SLOT 1, fixture: {name: nest 1}}
  '2': {radio: right, rssi_offset: 2 dB}
products:
  logger:
    barcode: '(?P<serial>VFL3-\d{6})'
    plan: plan.yaml
    given: {firmware: 3.2.1}
    addresses: {first: 'C4:1F:5A:20:00:00', last: 'C4:1F:5A:20:FF:FF'}
references:
  golden: {label: VFL3-000001, every: 4 h, slots: any}
  worn: {label: VFL3-000002, fails: read battery level}
retest: {most: 1, causes: [link]}
stop: {station_errors: 3, equal_failures: 3}
prove: {listen: 1 s, margin: 10 dB, within: 10 s}
after_unit: {command: [lamp, '{verdict}', '{serial}'], within: 10 s}
approvals: approvals.yaml
"""
APPROVALS = f"""approvals:
  - plan: a plan
    file: plan.yaml
    sha256: {"ab" * 32}
    by: A. Berg
    at: '2026-11-27T06:00:00Z'
"""
LABELS = ["VFL3-000042", "VFL3-000001", "SLOT 1", "P-0001", "REPAIRED"]
LIMITS = """limit_set: Warm
plan: Vaccine fridge logger, quick look
version: 2
owner: A. Berg
reason: They are sold for greenhouses.
limits:
  scan: {rssi: {min: -70 dBm}}
  read temperature:
    value: {min: 2 °C, max: 30 °C}
  read serial number: {value: {matches: 'VFL3-\\d{6}'}}
"""
COMMANDS = [
    ["check", "plan.yaml"],
    ["check", "plan.yaml", "--radio", "host", "--set", "serial=VFL3-000042"],
    ["check", "plan.yaml", "--station", "station.yaml"],
    ["decode", "--as", "sint16", "--scale", "0.01", "--unit", "°C", "29 09"],
    ["decode", "--advertising", "02 01 06"],
    ["decode", "--address", "70:81:94:0D:FB:AA"],
    ["encode", "--as", "uint16", "--unit", "mV", "5 mV"],
    ["encode", "--attribute", "temperature", "21.5 °C"],
    ["devices", "device.yaml"],
    ["line", "check", "line.yaml"],
    ["line", "approve", "line.yaml", "logger", "--by", "A. Berg"],
]


@dataclass
class Tried:
    """How the inputs ended: by kind and end, and the ones that were not right."""

    ends: Counter[tuple[str, str]] = field(default_factory=Counter)
    bad: list[str] = field(default_factory=list)


def try_many(count: int, seed: int) -> Tried:
    tried, rng = Tried(), random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "parts").symlink_to(PLANS / "parts")
        for number in range(count):
            kind = rng.choice([*_KINDS])
            given = ""
            try:
                end, given = _KINDS[kind](rng, folder)
            except Exception:
                end = "traceback"
                tried.bad.append(f"{number} {kind}: {given}\n{traceback.format_exc()}\n{_input(folder)}")
            tried.ends[kind, end] += 1
            if end.startswith("exit") and int(end.removeprefix("exit ")) not in CODES:
                tried.bad.append(f"{number} {kind}: {end} {given}")
    return tried


def _input(folder: Path) -> str:
    return (folder / "some.yaml").read_text("utf-8", "replace") if (folder / "some.yaml").exists() else ""


def _put(folder: Path, name: str, content: str) -> Path:
    path = folder / name
    path.write_bytes(content.encode("utf-8", "surrogatepass"))
    return path


def _sound(rng: random.Random, pattern: str) -> str:
    return rng.choice(sorted(PLANS.glob(pattern))).read_text("utf-8")


def _plan(rng: random.Random, folder: Path) -> tuple[str, str]:
    path = _put(folder, "some.yaml", mutate.text(rng, _sound(rng, "*.yaml")))
    given = rng.choice([None, {}, {"serial": "VFL3-000042"}, {"serial": rng.choice(mutate.SCALARS)}])
    return _told(lambda: load_plan(path, given)), ""


def _device(rng: random.Random, folder: Path) -> tuple[str, str]:
    problems = Problems()
    models = load_devices([_put(folder, "some.yaml", mutate.text(rng, _sound(rng, "devices/*.yaml")))], problems)
    assert not (models and problems.found)
    assert all(str(problem).replace("\n", "").isprintable() for problem in problems.found)
    return "refused" if problems.found else "good", ""


def _station(rng: random.Random, folder: Path) -> tuple[str, str]:
    path = _put(folder, "some.yaml", mutate.text(rng, rng.choice([STATION, LINE, LINE])))
    return _told(lambda: load_station(path)), ""


def _line(rng: random.Random, folder: Path) -> tuple[str, str]:
    """A station before a shift, whatever its file, its plan and its approvals are."""
    texts = {"some.yaml": LINE, "plan.yaml": _sound(rng, "*.yaml"), "approvals.yaml": APPROVALS}
    changed = rng.choice([*texts])
    for name, sound in texts.items():
        _put(folder, name, mutate.text(rng, sound) if name == changed else sound)
    path = folder / "some.yaml"
    with contextlib.chdir(folder):
        return _told(lambda: [*map(_shown, checked(load_station(path), path).found)]), changed


def _shown(found: Found) -> None:
    assert found.message.strip()
    assert plain(found.message, 10_000).strip()


def _label(rng: random.Random, folder: Path) -> tuple[str, str]:
    typed = mutate.text(rng, rng.choice(LABELS))
    found = read(load_station(_put(folder, "some.yaml", LINE)), typed)
    if isinstance(found, Refusal):
        assert found.why
        assert (found.text + found.why + found.do).isprintable()
    return ("refused" if isinstance(found, Refusal) else "good"), repr(typed)


def _limits(rng: random.Random, folder: Path) -> tuple[str, str]:
    path = _put(folder, "some.yaml", mutate.text(rng, LIMITS))
    given = rng.choice([None, {}])
    return _told(lambda: load_plan(PLANS / "smoke.yaml", given, limits=path)), ""


def _told(load: Callable[[], object]) -> str:
    """'good', or 'refused' with a sentence that can be printed."""
    said = "good"
    try:
        load()
    except (PlanError, UsageError) as error:
        said = str(error)
    assert said.strip()
    assert said.replace("\n", "").isprintable()
    return said if said == "good" else "refused"


def _command(rng: random.Random, folder: Path) -> tuple[str, str]:
    _put(folder, "plan.yaml", _sound(rng, "*.yaml"))
    _put(folder, "device.yaml", _sound(rng, "devices/*.yaml"))
    _put(folder, "station.yaml", STATION)
    _put(folder, "line.yaml", LINE)
    sound = [str(folder / word) if word.endswith(".yaml") else word for word in rng.choice(COMMANDS)]
    words = mutate.words(rng, sound)
    with contextlib.chdir(folder):  # what a station file names is seen from there
        done = CliRunner().invoke(main, words)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise RuntimeError(words) from done.exception
    return f"exit {done.exit_code}", repr(words)


_KINDS: dict[str, Callable[[random.Random, Path], tuple[str, str]]] = {
    "plan": _plan, "device file": _device, "station file": _station, "limit set": _limits, "command": _command,
    "line": _line, "label": _label,
}  # fmt: skip
