"""Keys, passkeys and bonds: everything that commands leave is searched for every secret that was used, with all logs on."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from benchrig.radio.bond_store import BondStore, store_path
from tests.cli.kit import OnTerminal, environment

PATIENCE = 90.0
# Octets of a shorter one would be in much else by chance.
SHORTEST = 4
OOB = "8f2b0c1d99e3a475c6610b3e5d7a4f20"
GIVEN = "680315"
UNIT = """
device: Vault 1
address: 'C4:1F:5A:40:00:21'
security: {capability: keyboard and display, compare: accept}
on_display: [{print: 'passkey {number}'}]
console:
  - {matches: 'type (?P<digits>[0-9]{6})', enter: '{digits}'}
services:
  - service: 5f7c0001-1c0e-4f0b-9a53-72ac6f1d5be1
    characteristics:
      - {characteristic: 5f7c0002-1c0e-4f0b-9a53-72ac6f1d5be1, as: uint8, properties: [read], value: 1, read_needs: authenticated}
      - {characteristic: 5f7c0003-1c0e-4f0b-9a53-72ac6f1d5be1, as: uint8, properties: [write], value: 1, write_needs: authenticated, on_write: {delete_bonds: true}}
"""
DISPLAY = "on_display: [{print: 'passkey {number}'}]\n"
CONSOLE = "console:\n  - {matches: 'type (?P<digits>[0-9]{6})', enter: '{digits}'}\n"
SILENT = UNIT.replace(CONSOLE, "").replace(DISPLAY, "")
KEYPAD = SILENT.replace("keyboard and display, compare: accept", f"keyboard, passkey: '{GIVEN}'")
FIXED = SILENT.replace("keyboard and display, compare: accept", "display, passkey: '271828'")
LABELLED = SILENT.replace("compare: accept", f"out_of_band: {{key: {OOB}}}")
SHOWN = """
    passkey: '${code}'
    steps:
      - console:
        until: {line: {matches: 'passkey (?P<code>[0-9]{6})'}}
        save: {code: code}
"""
HEAD = """plan: Pairing
device: {select: {name: Vault 1}, attributes: {state: {uuid: 5f7c0002-1c0e-4f0b-9a53-72ac6f1d5be1, as: uint8}, reset: {uuid: 5f7c0003-1c0e-4f0b-9a53-72ac6f1d5be1, as: uint8}}}
"""
EVERY_METHOD = f"""{HEAD}steps:
  - scan:
  - connect:
  - pair: keyboard
    name: a wrong passkey
    passkey: '314159'
    expect: {{failure: {{equals: confirm value failed}}}}
  - pair: keyboard
    name: legacy
    pairing: legacy{SHOWN.replace("code", "first")}
  - pair: display
    steps:
      - console:
        send: 'type ${{shown}}'
  - pair: yes/no
    number: accept
    expect: {{method: {{equals: numeric comparison}}}}
  - pair: keyboard{SHOWN}
  - read: state
  - disconnect:
  - connect:
    name: again
  - encrypt:
  - unpair:
    passkey: '${{new}}'
    steps:
      - write: reset
        value: 1
    numbers:
      - console:
        until: {{line: {{matches: 'passkey (?P<new>[0-9]{{6}})'}}}}
        save: {{new: new}}
  - connect:
    name: at the end
  - read: state
    name: fails at the end
"""
GIVEN_ONE = f"""{HEAD}given: {{pin: {{secret: true}}}}
steps:
  - connect:
  - pair: display
    passkey: '${{pin}}'
    expect: {{authenticated: {{equals: true}}, bonded: {{equals: true}}}}
"""
MATRIX = f"""{HEAD}steps:
  - scan:
  - access:
      state: {{read: authenticated}}
      reset: {{write: any}}
      others: {{read: open}}
    levels: {{encrypted: {{pair: none}}, authenticated: {{pair: display, passkey: '{GIVEN}'}}, secure connections: {{pair: display, passkey: '{GIVEN}'}}}}
    expect: {{differences: {{equals: 0}}}}
"""
BESIDE = f"""{HEAD}steps:
  - connect:
  - pair: none
    out_of_band: {{key: {OOB}}}
    expect: {{method: {{equals: out of band}}}}
"""


@dataclass
class Bench:
    """A folder that is searched, and beside it what may hold secrets: plans, devices, the store."""

    folder: Path
    keys: set[bytes] = field(default_factory=set)
    numbers: set[str] = field(default_factory=set)
    printed: str = ""

    def __post_init__(self) -> None:
        self.beside.mkdir()
        self.here.mkdir()

    @property
    def here(self) -> Path:
        return self.folder / "here"

    @property
    def beside(self) -> Path:
        return self.folder / "beside"

    @property
    def env(self) -> dict[str, str]:
        return {"XDG_DATA_HOME": str(self.beside / "data"), "XDG_STATE_HOME": str(self.here / "state")}

    def write(self, name: str, text: str) -> str:
        (self.beside / name).write_text(text, encoding="utf-8")
        return str(self.beside / name)

    def do(self, *words: str, code: int = 0, stdin: str = "", **env: str) -> str:
        """A command to its end; the secrets that it used are known then, and all that it has printed."""
        secrets = self.beside / "secrets.json"
        done = subprocess.run(
            [sys.executable, "-m", "tests.cli.watched", str(secrets), *words],
            cwd=self.here, env=environment(**self.env, PYTHONPATH=str(Path.cwd()), **env), input=stdin,
            capture_output=True, text=True, timeout=PATIENCE,
        )  # fmt: skip
        assert done.returncode == code, done.stdout + done.stderr
        found = json.loads(secrets.read_text())
        self.keys |= {bytes.fromhex(key) for key in found["keys"]}
        self.numbers |= set(found["numbers"])
        self.printed += done.stdout + done.stderr
        return done.stdout + done.stderr

    def leaks(self, *, but: str = "") -> list[str]:
        """Where a secret is, in a file that was left (names that end with `but` aside) or in what was printed."""
        places = {"the output": self.printed.encode()} | {
            str(path.relative_to(self.here)): path.read_bytes()
            for path in self.here.rglob("*") if path.is_file() and not (but and path.name.endswith(but))
        }  # fmt: skip
        return [f"{what} in {place}" for place, data in places.items() for what in self.found_in(data)]

    def found_in(self, data: bytes) -> list[str]:
        found = [f"key {key.hex()}" for key in self.keys if any(form in data for form in forms_of(key))]
        return found + [f"number {number}" for number in self.numbers if pattern_of(number).search(data)]


def forms_of(key: bytes) -> list[bytes]:
    """A key in both orders of its octets, as it may be written."""
    texts = []
    for octets in (key, key[::-1]):
        texts += [octets.hex(separator) if separator else octets.hex() for separator in ("", " ", ":", "-")]
        texts += [base64.b64encode(octets).decode().rstrip("="), base64.urlsafe_b64encode(octets).decode().rstrip("=")]
        texts += [repr(octets)[2:-1], str([*octets])[1:-1]]
    return [key, key[::-1], *(form.encode() for text in texts for form in {text, text.upper()})]


def pattern_of(number: str) -> re.Pattern[bytes]:
    """Six digits, also with gaps, as a word of its own; and the number without its zeros."""
    spaced = r"[ ,.]*".join(number)
    return re.compile(rf"(?<![0-9A-Za-z.]){spaced}(?![0-9A-Za-z])".encode())


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


REPORTS = ("--junit", "j.xml", "--csv", "r.csv", "--all-readings")


def test_what_a_run_leaves_holds_no_secret(bench: Bench) -> None:
    plan, device = bench.write("plan.yaml", EVERY_METHOD), bench.write("device.yaml", UNIT)
    said = bench.do("run", plan, "--radio", f"virtual:{device}", *REPORTS, code=1)
    assert "numeric comparison" in said
    assert "fails at the end" in said
    assert len(bench.keys) > 10
    assert len(bench.numbers) >= 6
    assert any(path.name == "console.log" for path in bench.here.rglob("*"))
    assert bench.leaks() == []


def test_the_search_would_find_them(bench: Bench) -> None:
    """In each form; else the other tests would say nothing."""
    bench.keys, bench.numbers = {bytes(range(1, 17))}, {"042517"}
    for form in forms_of(bytes(range(1, 17))):
        assert bench.found_in(b"x" + form + b"y")
    for text in ("042517", "code 042517.", "0 4 2   5 1 7", "042 517", '"042517"'):
        assert bench.found_in(text.encode())
    for text in ("1042517", "0.042517", "0425179", "a042517"):
        assert not bench.found_in(text.encode())


@pytest.mark.slow
def test_given_passkeys_and_an_access_matrix(bench: Bench) -> None:
    device = bench.write("device.yaml", KEYPAD)
    at = ("--radio", f"virtual:{device}", *REPORTS)
    bench.do("run", bench.write("plan.yaml", GIVEN_ONE), *at, "--set", "pin=@env:THE_PIN", THE_PIN=GIVEN)
    bench.do("run", bench.write("matrix.yaml", MATRIX), *at)
    assert GIVEN in bench.numbers
    assert bench.leaks() == []


@pytest.mark.slow
def test_data_out_of_band(bench: Bench) -> None:
    plan, device = bench.write("plan.yaml", BESIDE), bench.write("device.yaml", LABELLED)
    bench.do("run", plan, "--radio", f"virtual:{device}", *REPORTS)
    bench.keys.add(bytes.fromhex(OOB))
    assert bench.leaks() == []


@pytest.mark.slow
def test_a_mistake_of_the_program_in_the_middle_of_a_pairing(bench: Bench) -> None:
    plan, device = bench.write("plan.yaml", EVERY_METHOD), bench.write("device.yaml", UNIT)
    bench.do("run", plan, "--radio", f"virtual:{device}", *REPORTS, code=3, BREAK="1")
    assert "something broke" in bench.printed
    assert bench.leaks() == []


@pytest.mark.slow
def test_a_capture_holds_keys_because_it_was_asked_for(bench: Bench) -> None:
    plan, device = bench.write("plan.yaml", EVERY_METHOD), bench.write("device.yaml", UNIT)
    said = bench.do("run", plan, "--radio", f"virtual:{device}", "--capture", "all.btsnoop", code=1)
    capture = bench.here / "all.btsnoop"
    assert bench.found_in(capture.read_bytes())
    assert capture.stat().st_mode & 0o077 == 0
    assert "it holds all that went over the radio" in said
    assert bench.leaks(but=".btsnoop") == []


@pytest.mark.slow
def test_what_the_commands_of_the_desk_leave(bench: Bench) -> None:
    device = bench.write("device.yaml", FIXED)
    radio = ("--radio", f"virtual:{device}")
    typed = {"TYPED": "271828"}
    bench.do("inspect", "--pair", "keyboard", "--twice", "--save", "golden.json", *radio, **typed)
    bench.do("inspect", "--pair", "keyboard", "--format", "json", *radio, **typed)
    bench.do("inspect", "--pair", "keyboard", *radio, code=1, TYPED="271829")
    bench.do("read", "5f7c0002-1c0e-4f0b-9a53-72ac6f1d5be1", "--pair", "keyboard", "--json", *radio, **typed)
    lines = "pair keyboard\nbonds\ntable\nencrypt\nunpair\nconnect\npair none\nsave plan.yaml\n"
    bench.do("session", "--json", *radio, stdin=lines, **typed)
    assert {"271828", "271829"} <= bench.numbers
    assert (bench.here / "plan.yaml").exists()
    assert bench.leaks() == []


@pytest.mark.slow
def test_the_history_of_a_session(bench: Bench) -> None:
    device = bench.write("device.yaml", FIXED)
    with OnTerminal(bench.here, "session", "--radio", f"virtual:{device}", **bench.env) as terminal:
        terminal.until("connected>")
        terminal.type("pair keyboard\r")
        terminal.until("The passkey that the device shows:")
        terminal.type("271828\r")
        terminal.until("paired: passkey")
        terminal.type("quit\r")
        assert terminal.end() == 0
    bench.numbers.add("271828")
    [history] = bench.here.rglob("session_history")
    assert "pair keyboard" in history.read_text()
    assert bench.leaks() == []


@pytest.mark.slow
@pytest.mark.timeout(180)
def test_a_controller_and_the_store_of_the_station(bench: Bench) -> None:
    from tests.contract.radios import air_on_tcp

    bench.write("device.yaml", KEYPAD)
    plan = bench.write("plan.yaml", GIVEN_ONE + "  - disconnect:\n")
    station = bench.write("line2.yaml", "station: line 2\n")
    with air_on_tcp(bench.beside / "device.yaml") as radio:
        bench.do(
            "run", plan, "--radio", radio, "--station", station, "--set", "pin=@env:THE_PIN", *REPORTS, THE_PIN=GIVEN
        )
        at = ("--radio", radio, "--station", station)
        bench.do("read", "5f7c0002-1c0e-4f0b-9a53-72ac6f1d5be1", "--pair", "display", *at)
    bench.do("bonds", "--station", station)
    bench.do("bonds", "--station", station, "--json")
    assert "encrypted with the key of the bond" in bench.printed
    store = BondStore(store_path("line 2", bench.env), "line 2")
    assert [bond.name for bond in store.all()] == ["Vault 1"]
    assert bench.found_in(store.path.read_bytes()), "the store has them"
    assert bench.leaks() == []
