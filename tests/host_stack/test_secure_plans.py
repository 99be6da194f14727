"""Plans that pair, encrypt and unpair, through BlueZ: sound units pass, others fail in the right step, and no bond of a run
stays."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.host_stack.conftest import Said, Shell
from tests.run.kit import DEVICES
from tests.run.kit import PLANS as PLANS_THAT_SHIP

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
UNITS = Path(__file__).with_name("secure_units.yaml")
OPEN, SECRET, RESET, SIGNAL = (f"6b1d040{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in (2, 3, 4, 5))
# what `benchrig devices` says of the unit's label
RANDOM, CONFIRM = "000102030405060708090a0b0c0d0e0f", "7680c3288cdd5f31a4d5b3943b1252fc"
HEAD = "plan: secure\ndevice: {{select: {{{unit}}}}}\ncaution: bonds are deleted\nsteps:\n  - scan:\n  - connect:\n"
PAIR = "  - pair: keyboard\n    passkey: '042517'\n"
READ = f"  - read: {SECRET}\n    expect: {{raw: {{equals: '08'}}}}\n"
AGAIN = "  - disconnect:\n  - connect:\n    name: again\n"
FORGET = f"  - write: {RESET}\n    raw: '01'\n"
PLANS = {
    # a unit, and what is done with it
    "sound": ("lock", PAIR + "    expect: {method: {equals: passkey}, secure_connections: {equals: true}, authenticated: {equals: true}, bonded: {equals: true}, key_size: {equals: 16}}\n"
              + READ + AGAIN + "  - encrypt:\n    expect: {failure: {equals: none}, key_size: {min: 16}}\n" + READ
              + f"  - unpair:\n    steps:\n      - write: {RESET}\n        raw: '01'\n    expect: {{old_key: {{equals: no key}}, pairs_again: {{equals: true}}}}\n"),
    "keeps": ("lock", PAIR + "  - unpair:\n    steps: [{wait: 1 s}]\n    expect: {old_key: {equals: no key}}\n"),
    "twice": ("lock", "  - pair: none\n    expect: {authenticated: {equals: false}}\n" + PAIR + READ),
    "wrong": ("lock", PAIR.replace("042517", "000001") + "    expect: {failure: {equals: confirm value failed}}\n" + f"  - read: {OPEN}\n    expect: {{raw: {{equals: '07'}}}}\n"),
    "unchecked": ("unchecked", PAIR.replace("042517", "000001") + "    expect: {failure: {equals: confirm value failed}}\n"),
    "waiting": ("waiting", PAIR + "    expect: {failure: {equals: repeated attempts}}\n"),
    "refused": ("waiting", PAIR),
    "silent": ("silent", "  - pair: none\n    expect: {failure: {equals: timeout}}\n"),
    "legacy": ("legacy", PAIR + "    pairing: secure connections\n    expect: {failure: {equals: authentication requirements}}\n"),
    "too legacy": ("legacy", PAIR + "    pairing: secure connections\n"),
    "forgot": ("lock", PAIR + FORGET + AGAIN + "  - encrypt:\n    expect: {failure: {equals: no key}}\n"),
    "forgot, read": ("lock", PAIR + FORGET + AGAIN + READ),
    "another key": ("lock", PAIR + "  - command: [pkill, -USR1, -f, host_stack.air]\n" + AGAIN + "  - encrypt:\n"),
    "too weak": ("lock", "  - pair: none\n" + READ + "    within: 60 s\n"),
    "fresh": ("lock", PAIR + "  - disconnect:\n  - connect:\n    name: again\n    fresh: true\n"),
    "asks": ("asking", f"  - read: {OPEN}\n    expect: {{raw: {{equals: '07'}}}}\n"),
    "access": ("lock", f"  - access:\n      {OPEN}: {{read: open}}\n      {SECRET}: {{read: authenticated}}\n      {RESET}: {{write: any}}\n      others: {{read: any, subscribe: any, write without response: any}}\n"
               "    levels: {encrypted: {pair: none}, authenticated: {pair: keyboard, passkey: '042517', pairing: legacy}, secure connections: {pair: keyboard, passkey: '042517'}}\n"
               "    expect: {tried: {min: 6}, differences: {equals: 0}}\n"),
    "open door": ("lock", f"  - access:\n      {OPEN}: {{read: encrypted}}\n      others: {{read: any, subscribe: any, write: any, write without response: any}}\n    levels: {{encrypted: {{pair: none}}}}\n    expect: {{differences: {{equals: 0}}}}\n"),
    "lets in": ("lock", "  - pair: none\n    expect: {failure: {equals: authentication requirements}}\n" + f"  - read: {OPEN}\n    expect: {{raw: {{equals: '07'}}}}\n"),
    "asks and waits": ("asks and waits", "  - pair: none\n"),
    "access with a bond": ("lock", f"  - access:\n      {SIGNAL}: {{write without response: encrypted}}\n      others: {{read: any, subscribe: any, write: any}}\n"
               f"    writes: ['{SIGNAL}']\n    changes: {{'{SIGNAL}': '02'}}\n    levels: {{encrypted: {{pair: none, bonding: true}}}}\n    expect: {{differences: {{equals: 0}}}}\n"),
    "private": ("private", "  - pair: none\n" + "  - disconnect:\n  - wait: 70 s\n  - connect:\n    name: again\n  - encrypt:\n" + f"  - read: {OPEN}\n    expect: {{raw: {{equals: '07'}}}}\n"),
    "private, twice": ("private", "  - pair: none\n    bonding: false\n    expect: {bonded: {equals: false}}\n  - pair: none\n    expect: {identity_address: {equals: 'C0:00:00:00:0F:08'}}\n"),
    "asks and pairs": ("asking", "  - pair: none\n    expect: {failure: {equals: none}}\n" + AGAIN + "  - encrypt:\n    expect: {failure: {equals: none}}\n"),
    "out of band": ("labelled", f"  - pair: none\n    out_of_band: {{random: '{RANDOM}', confirm: '{CONFIRM}'}}\n    expect: {{method: {{equals: out of band}}, secure_connections: {{equals: true}}, authenticated: {{equals: true}}}}\n" + READ),
    "wrong label": ("labelled", f"  - pair: none\n    out_of_band: {{random: '{RANDOM}', confirm: '{RANDOM}'}}\n"),
    "known key": ("known key", "  - pair: none\n"),
    "known key, protected": ("known key protected", PAIR + "    expect: {authenticated: {equals: true}}\n"),
    "others": ("kept", "  - pair: none\n"),
    "killed": ("lock", PAIR + "  - wait: 60 s\n"),
}  # fmt: skip
# units that let a bench in which they are bonded with, and no other
BONDED = {
    "bonded only": "connections: bonded only",
    "low duty": "directed: {duty: low, for: 30 s, then: undirected}",
    "high duty": "directed: {duty: high, then: undirected}",
}
COMES_BACK = "  - pair: none\n" + AGAIN + "  - encrypt:\n    expect: {failure: {equals: none}}\n"
# what other programs may not know of
BOUND = "setpriv --bounding-set=-net_admin,-net_raw"
BONDS = "bluetoothctl devices Paired"


def run(name: str, options: str = "") -> str:
    return f"{options} python3 -m benchrig run '{name}.yaml' --radio host -q --acknowledge --results 'out/{name}'"


@pytest.fixture
def plans(tmp_path: Path) -> None:
    for name, (unit, steps) in PLANS.items():
        # Linux mixes the name of a unit that it is paired with
        select = f"address: '{OTHER}'" if unit == "kept" else f"name: {unit}"
        (tmp_path / f"{name}.yaml").write_text(HEAD.format(unit=select) + steps)


def story(said: Said) -> str:
    return f"{said.code}\n{said.out}\n{said.err}"


EXPECTED = {
    # the exit code, and what is said
    "sound": (0, ""),
    "keeps": (1, "'accepted' is not 'no key'"),
    "twice": (0, ""),
    "wrong": (0, ""),
    "unchecked": (1, "the device did not refuse: benchrig alone noticed"),
    "waiting": (0, ""),
    "refused": (1, "repeated attempts (the device refused)"),
    "silent": (0, ""),
    "legacy": (0, ""),
    "too legacy": (1, "authentication requirements (benchrig refused)"),
    "forgot": (0, ""),
    "forgot, read": (1, "wants an encrypted link, and has lost the key"),
    "another key": (1, "the device has another key"),
    "too weak": (1, "the unit may want a better protected link"),
    "fresh": (7, "Linux keeps the table of a paired unit"),
    "asks": (0, ""),
    "asks and pairs": (0, ""),
    "out of band": (0, ""),
    "wrong label": (1, "confirm value failed"),
    "known key": (1, "the debug key of the specification"),
    "access": (5, "not judged"),
    "open door": (5, "not judged"),
    "access with a bond": (5, "not judged"),
    "known key, protected": (1, "the debug key of the specification"),
    "lets in": (1, "fail (limit): failure: 'none' is not"),
    "asks and waits": (7, "the unit asks for security itself"),
    "private": (0, ""),
    "private, twice": (0, ""),
}


@pytest.mark.usefixtures("plans")
def test_every_run_ends_with_the_right_cause_and_leaves_no_bond(shell: Shell) -> None:
    *said, bonds = shell(*map(run, EXPECTED), BONDS, devices=[UNITS], within=290)
    for (name, (code, words)), each in zip(EXPECTED.items(), said, strict=True):
        assert each.code == code, f"{name}: {story(each)}"
        assert words in each.out, f"{name}: {story(each)}"
    assert bonds.out == ""


ROUGH = ("sound", "wrong", "unchecked", "forgot", "another key", "private")


def rough_units() -> str:
    text = UNITS.read_text()
    private = text[text.index("  - device: private") : text.index("  - device: labelled")]
    units = [
        private.replace("device: private", f"device: {name}")
        .replace("name: private", f"name: {name}")
        .replace("0F:08", f"0F:{number:02X}")
        .replace("    privacy: {address: resolvable, every: 60 s}\n", "")
        .replace("interval: 50 ms", f"interval: 50 ms, {advertising}")
        for number, (name, advertising) in enumerate(BONDED.items(), 0x10)
    ]
    return f"air: rough\n{text}{''.join(units)}"


@pytest.mark.usefixtures("plans")
def test_a_rough_air_changes_nothing_and_bonded_benches_are_let_in(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "units.yaml").write_text(rough_units())
    for name in BONDED:
        (tmp_path / f"{name}.yaml").write_text(HEAD.format(unit=f"name: {name}") + COMES_BACK)
    names = [*ROUGH, *BONDED]
    said = shell(*map(run, names), devices=[tmp_path / "units.yaml"], within=290)
    for name, each in zip(names, said, strict=True):
        assert each.code == EXPECTED.get(name, (0, ""))[0], f"{name}: {story(each)}"


# What the plan that ships asks for, and Linux or the guest does not have, and what is there instead
SHIPPED = (
    (r"      - pair: none\n(        .*\n)*?        key_size: 15\n(        .*\n)*", ""),
    (r"        steps:\n          - console:\n(          .*\n)*", ""),
    (r", used: '\$\{first\}'", ""),
    (r"parts/bonds_cleared_console", "parts/bonds_cleared"),
    (r"  - power: cycle\n", "  - disconnect:\n"),
)
PAIRED = (
    (r"  (used|line): .*\n", ""),
    (r"    steps:\n      - console:\n(        .*\n)*", ""),
    (r"'\$\{shown_passkey\}'", "'042517'"),
)


def rewritten(path: Path, changes: tuple[tuple[str, str], ...]) -> str:
    text = path.read_text()
    for old, new in changes:
        text, count = re.subn(old, new, text)
        assert count, old
    return text


def test_the_plan_that_ships_passes_with_what_linux_can(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(rewritten(PLANS_THAT_SHIP / "secure_end_of_line.yaml", SHIPPED))
    for folder in ("names", "parts"):
        shutil.copytree(PLANS_THAT_SHIP / folder, tmp_path / folder)
    paired = tmp_path / "parts/secure_paired.yaml"
    paired.write_text(rewritten(paired, PAIRED))
    unit = (
        (DEVICES / "secure_logger.yaml")
        .read_text()
        .replace("{capability: display,", "{capability: display, passkey: '042517',")
    )
    (tmp_path / "devices").mkdir()
    (tmp_path / "devices/unit.yaml").write_text(unit)
    [said] = shell(
        run("plan", "").replace(" -q", " --may-lack read.att_error --may-lack write.att_error"),
        devices=[tmp_path / "devices/unit.yaml"],
        within=200,
    )
    assert said.code == 0, story(said)


HIDDEN = {
    # without the rights: what is not told is not judged, and what is known is
    "sound": (5, "not judged"),
    "wrong": (5, "CAP_NET_RAW"),
    "unchecked": (1, "the device did not refuse: benchrig alone noticed"),
    "refused": (1, "does not tell why"),
    "silent": (0, ""),
    "too legacy": (7, "CAP_NET_ADMIN"),
    "forgot": (0, ""),
    "another key": (1, "the device has another key"),
    "too weak": (1, "the unit may want a better protected link"),
    "known key, protected": (5, "authenticated is not judged"),
}


@pytest.mark.usefixtures("plans")
def test_without_the_rights_nothing_passes_that_is_not_known(shell: Shell) -> None:
    *said, bonds = shell(*(run(name, BOUND) for name in HIDDEN), BONDS, devices=[UNITS], within=290)
    for (name, (code, words)), each in zip(HIDDEN.items(), said, strict=True):
        assert each.code == code, f"{name}: {story(each)}"
        assert words in each.out, f"{name}: {story(each)}"
    assert bonds.out == ""


# the run is killed once BlueZ has the bond; nothing says so but BlueZ
KILLED = f"""
{run("killed")} & until bluetoothctl devices Paired | grep -q lock; do sleep 0.2; done
sleep 1; kill -KILL $!; wait $!; {BONDS}
"""
INTERRUPTED = KILLED.replace("KILL", "TERM")
OTHER = "C0:00:00:00:0F:07"
AGENT = f"""(echo agent NoInputNoOutput; echo default-agent; echo scan on; sleep 5; echo scan off; echo pair {OTHER}; sleep 5
echo disconnect {OTHER}; sleep 5) | bluetoothctl > agent.txt"""


@pytest.mark.usefixtures("plans")
def test_the_bonds_of_a_dead_run_go_and_those_of_others_stay(shell: Shell) -> None:
    interrupted, killed, after, bonds, _, others, kept = shell(
        INTERRUPTED,
        KILLED,
        run("asks").replace(" -q", ""),
        BONDS,
        AGENT,
        run("others"),
        BONDS,
        devices=[UNITS],
        within=290,
    )
    assert ("interrupted" in interrupted.out, "Device" in interrupted.out) == (True, False), story(interrupted)
    assert "Device C0:00:00:00:0F:01" in killed.out, story(killed)
    assert "removed the bond that a benchrig had left with lock" in after.out, story(after)
    assert bonds.out == ""
    assert (others.code, "leaves that bond alone" in others.out) == (7, True), story(others)
    assert OTHER in kept.out
