"""No key, passkey, number or out of band value of a pairing is in anything that a run leaves or shows."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from benchrig.radio.bonds import Bond, MemoryBonds
from benchrig.radio.virtual.security import DeviceSecurity
from benchrig.steps.numbers import Question, Questions
from tests.cli.kit import here
from tests.run.kit import plan_text
from tests.run.test_pairing import CONSOLE, NAMES, lock

RANDOM, KEY = "5D3C1B0A99887766554433221100FFEE", "0F1E2D3C4B5A69788796A5B4C3D2E1F0"
READ_OFF = "    passkey: '${code}'\n    steps: [{console: , until: {line: {matches: 'passkey (?P<code>.*)'}}, save: {code: code}}]\n"
NOTIFIED = "    passkey: '${code}'\n    steps: [{notify: display, count: 1, save: {value: code}}]\n"
# what the plan does, the security of the unit, whether it passes, the secrets that are known beforehand
CASES = {
    "written": ("  - pair: keyboard\n    passkey: '735108'\n", "{capability: display, passkey: '735108'}", 0, ["735108"]),
    "written, and wrong": ("  - pair: keyboard\n    passkey: '735109'\n", "{capability: display, passkey: '735108'}", 1, ["735109", "735108"]),
    "given": ("  - pair: keyboard\n    passkey: '${pin}'\n", "{capability: display, passkey: '735107'}", 0, ["735107"]),
    "given, too short": ("  - pair: keyboard\n    passkey: '${pin}'\n", "{capability: display}", 4, ["73510"]),
    "read off the console": ("  - pair: keyboard\n" + READ_OFF, "{capability: display}", 0, []),
    "notified": ("  - pair: keyboard\n" + NOTIFIED, "{capability: display}", 0, []),
    "shown, and typed": ("  - pair: display\n    steps: [{console: , send: 'type ${shown}'}]\n", "{capability: keyboard}", 0, []),
    "shown, and written": ("  - pair: display\n    steps: [{write: keys, value: '${shown}'}]\n", "{capability: keyboard}", 0, []),
    "shown to nobody": ("  - pair: display\n", "{capability: keyboard}", 2, []),
    "compared, and printed": ("  - pair: yes/no\n    number: accept\n    steps: [{console: , until: {line: {contains: passkey}}}]\n", "{capability: yes/no}", 0, []),
    "compared": ("  - pair: yes/no\n    number: accept\n", "{capability: yes/no}", 0, []),
    "compared, and not the same": ("  - pair: yes/no\n    number: '735106'\n", "{capability: yes/no}", 1, ["735106"]),
    "out of band": (f"  - pair: none\n    pairing: legacy\n    out_of_band: {{key: {KEY}}}\n", f"{{out_of_band: {{key: '{KEY}'}}}}", 0, [KEY]),
    "out of band, and wrong": (f"  - pair: none\n    out_of_band: {{random: {RANDOM}, confirm: {KEY}}}\n", f"{{out_of_band: {{random: '{RANDOM}'}}}}", 1, [RANDOM, KEY]),
    "unpaired": ("  - pair: keyboard\n" + READ_OFF + "  - unpair:\n    steps: [{write: reset, value: 1}]\n" + READ_OFF.replace("steps", "numbers").replace("code", "fresh"), "{capability: display}", 0, []),
}  # fmt: skip
GIVEN = {"given": "735107", "given, too short": "73510"}


@pytest.fixture
def secrets() -> Iterator[list[str]]:
    """Every number that either end has shown or compared, and every key of every bond on either end."""
    found: list[str] = []
    keep, show, asks = MemoryBonds.keep, DeviceSecurity._display, Questions._answer

    def kept(self: MemoryBonds, bond: Bond) -> None:
        keys = bond.keys
        values = [each.key for each in (keys.ltk, keys.ltk_central, keys.ltk_peripheral) if each] + [keys.irk]
        found.extend(value.hex() for value in values if value)
        keep(self, bond)

    def shown(self: DeviceSecurity, number: str, *more: Any) -> None:
        found.append(number)
        show(self, number, *more)

    async def asked(self: Questions, question: Question) -> Any:
        found.extend([question.digits] if question.kind != "enter" else [])
        return await asks(self, question)

    with (
        mock.patch.object(MemoryBonds, "keep", kept),
        mock.patch.object(DeviceSecurity, "_display", shown),
        mock.patch.object(Questions, "_answer", asked),
    ):
        yield found


def forms(secret: str) -> list[str]:
    """What may stand for it: itself, in two halves, backwards, and its bytes in the ways that records have."""
    if len(secret) < 16:
        number = int(secret).to_bytes(4, "little")
        data = [secret.encode(), *([number, number[::-1]] if int(secret) > 0xFFFF else [])]
        return [secret, f"{secret[:3]} {secret[3:]}", *(form for each in data for form in _hex(each))]
    octets = bytes.fromhex(secret)
    return [form for each in (octets, octets[::-1]) for form in _hex(each)]


def _hex(data: bytes) -> list[str]:
    return [data.hex(), data.hex().upper(), data.hex(" "), data.hex(" ").upper(), data.hex(":").upper()]


def everything(folder: Path) -> str:
    left = [path for path in folder.rglob("*") if path.is_file() and path.name not in ("plan.yaml", "device.yaml")]
    return "\n".join(path.read_bytes().decode("latin-1") for path in left)


@pytest.mark.parametrize("name", CASES)
def test_no_secret_is_in_what_a_run_leaves(name: str, tmp_path: Path, secrets: list[str]) -> None:
    steps, security, code, known = CASES[name]
    limits = "  - wait: 10 ms\n    expect: {elapsed: {max: 1 s}}\n"
    head = "given: {pin: {prompt: passkey}}\n" if name in GIVEN else ""
    shows = CONSOLE.partition("\n")[2] if "capability: keyboard" in security or "out_of_band" in security else CONSOLE
    if name == "notified":
        shows = "on_display: [{delay: 200 ms, notify: {display: '{number}'}}]"
    (tmp_path / "plan.yaml").write_text(plan_text(steps + limits, head=head, attributes=NAMES), "utf-8")
    (tmp_path / "device.yaml").write_text(lock(security, shows), "utf-8")
    given = ["--set", f"pin={GIVEN[name]}"] if name in GIVEN else []
    done = here("run", "plan.yaml", "--radio", "virtual:device.yaml", "--junit", "j.xml", "--csv", "r.csv", "--all-readings",
                *given, cwd=tmp_path)  # fmt: skip
    left = done.stdout + done.stderr + everything(tmp_path)
    assert done.returncode == code, done.stdout + done.stderr
    used = {*known, *secrets} - {"73510"} | {*(["73510"] if name == "given, too short" else [])}
    assert used
    assert [form for secret in used for form in forms(secret) if form in left] == []


def test_what_is_left_is_searched_well() -> None:
    """The search finds what it looks for."""
    assert all(form in " ".join(forms("735108")) for form in ("735108", "735 108", "37 33 35 31 30 38", "84370B00"))
    assert "ee ff 00" in " ".join(forms(RANDOM))
