"""Secret given values: brought by a file, a variable or a prompt; the unit gets them, and nothing else has them."""

from __future__ import annotations

import contextlib
import subprocess
from pathlib import Path

import pytest

from tests.cli.kit import Files, files, here
from tests.cli.screen import attended

OWN = "7b1f00{:02x}-4d1e-4b6f-9a57-2f3c1de0a001".format
DEVICE = f"""services:
  - service: {OWN(0)}
    characteristics:
      - {{characteristic: {OWN(1)}, as: utf8, properties: [read, write], value: nothing}}
      - {{characteristic: {OWN(2)}, as: uint16, properties: [read, write], value: 9}}
      - {{characteristic: {OWN(3)}, as: hex, properties: [read, write], value: '00'}}
"""
HEAD = f"""  attributes:
    word: {{uuid: {OWN(1)}, as: utf8}}
    number: {{uuid: {OWN(2)}, as: uint16}}
    bytes: {{uuid: {OWN(3)}, as: hex}}
given: {{pin: {{secret: true}}}}
"""
EVERYWHERE = """
  - write: word
    value: '${pin}'
    read_back: true
    expect: {value: {equals: '${pin}'}}
  - read: word
  - read: number
    on_fail: continue
    expect: {value: {max: '${pin}'}}
  - write: number
    value: '${pin}'
  - read: number
  - write: bytes
    raw: '02a${pin}'
  - read: bytes
  - notify: word
    name: fails
    for: 1 s
"""
PIN = "54321"  # fits a uint16


def bench(folder: Path, steps: str = EVERYWHERE) -> Files:
    return files(folder, steps, head=HEAD, device=DEVICE)


def run(folder: Path, *arguments: str, **env: str) -> subprocess.CompletedProcess[str]:
    return here("run", "plan.yaml", "--radio", "virtual:device.yaml", "--junit", "j.xml", "--csv", "r.csv",
                    "--all-readings", *arguments, cwd=folder, env=env)  # fmt: skip


def left(folder: Path) -> str:
    """All that the run left, but for plan, device and the secret's own file."""
    kept = [
        path for path in folder.rglob("*") if path.is_file() and path.name not in ("plan.yaml", "device.yaml", "pin")
    ]
    return "\n".join(path.read_text("utf-8") for path in kept)


def forms(pin: str) -> list[str]:
    data = [pin.encode(), int(pin).to_bytes(2, "little")]
    return [pin, *(each.hex(" ").upper() for each in data), *(each.hex().upper() for each in data)]


@pytest.mark.parametrize("how", ["file", "variable"])
def test_it_reaches_the_unit_and_is_nowhere_else(tmp_path, how):
    bench(tmp_path)
    (tmp_path / "pin").write_text(f"{PIN}\n")
    done = run(tmp_path, "--set", "pin=@pin" if how == "file" else "pin=@env:THE_PIN", THE_PIN=PIN)
    everything = done.stdout + done.stderr + left(tmp_path)
    assert "********" in everything
    assert '"verdict":"pass"' in everything
    assert [form for form in forms(PIN) if form in everything] == []


def test_the_console_does_not_give_it_away(tmp_path):
    """What was sent, and what the unit echoes, in the record and in the log."""
    steps = (
        "  - console:\n    send: 'pin ${pin}'\n    until: {line: {matches: 'echo pin (?P<code>.*)'}}\n    within: 1 s\n"
        "    expect: {code: {equals: '${pin}'}}\n"
        "  - console:\n    send: 'again ${pin}'\n    until: {line: {contains: 'never ${pin}'}}\n    within: 1 s\n"
    )
    echo = "console: [{matches: '(?P<all>.*)', print: 'echo {all}'}]\n"
    files(tmp_path, steps, head=HEAD, device=echo + DEVICE)
    (tmp_path / "pin").write_text(PIN)
    done = run(tmp_path, "--set", "pin=@pin")
    everything = done.stdout + done.stderr + left(tmp_path)
    assert (done.returncode, "> again ********" in everything, "not reached" in everything) == (1, True, True)
    assert [form for form in forms(PIN) if form in everything] == []


def test_how_far_a_reading_is_off_does_not_give_it_away(tmp_path):
    bench(tmp_path, "  - read: number\n    expect: {value: {min: '${pin}'}}\n")
    (tmp_path / "pin").write_text(PIN)
    done = run(tmp_path, "--set", "pin=@pin")
    assert done.returncode == 1
    assert "does not satisfy a limit that is secret" in done.stdout
    assert str(int(PIN) - 9) not in done.stdout + left(tmp_path)


@pytest.mark.parametrize("kept", ["on_write: {store: false}", "on_write: {set: {word: '5432'}}"])
def test_a_device_that_does_not_keep_it_does_not_give_it_away(tmp_path, kept):
    """Neither the bytes of its format, which are not those of its digits, nor the part that was kept are shown."""
    steps = "  - write: {0}\n    value: '${{pin}}'\n    read_back: true\n    expect: {{value: {1}}}\n"
    bench(tmp_path, steps.format("number", "{min: 1}") + steps.format("word", "{matches: '.*'}"))
    device = (tmp_path / "device.yaml").read_text()
    device = device.replace("as: uint16, properties: [read, write]", "as: uint32, properties: [read, write], " + kept)
    device = device.replace("value: nothing", "name: word, value: nothing")
    device = device.replace("as: utf8, properties: [read, write]", "as: utf8, properties: [read, write], " + kept)
    (tmp_path / "device.yaml").write_text(device)
    plan = (tmp_path / "plan.yaml").read_text()
    (tmp_path / "plan.yaml").write_text(plan.replace("as: uint16", "as: uint32"))
    (tmp_path / "pin").write_text(PIN)
    done = run(tmp_path, "--set", "pin=@pin")
    everything = done.stdout + done.stderr + left(tmp_path)
    assert (done.returncode, "the device did not keep the secret value" in everything) == (1, True)
    assert [form for form in (*forms(PIN), "31 D4", "5432", "35 34 33 32") if form in everything] == []


def test_readings_over_rounds_do_not_give_it_away(tmp_path):
    steps = "  - repeat: 3\n    steps: [{write: number, value: '${pin}', read_back: true, name: w}]\n"
    bench(tmp_path, steps + "    expect: {w.value: {min: 1}, w.value.mean: {max: 1}, w.value.p50: {min: 1}}\n")
    (tmp_path / "pin").write_text(PIN)
    done = run(tmp_path, "--set", "pin=@pin")
    everything = done.stdout + done.stderr + left(tmp_path)
    assert (done.returncode, "does not satisfy a limit that is secret" in everything) == (1, True)
    assert [form for form in forms(PIN) if form in everything] == []


def test_a_secret_serial_number_is_no_part_of_the_folder(tmp_path):
    steps = "  - read: word\n    expect: {value: {equals: '${serial}'}}\n"
    files(tmp_path, steps, head=HEAD.replace("pin", "serial"), device=DEVICE.replace("nothing", "VFL-0042"))
    (tmp_path / "pin").write_text("VFL-0042")
    done = run(tmp_path, "--set", "serial=@pin")
    assert done.returncode == 0
    assert "vfl-0042" not in (done.stdout + str([*tmp_path.rglob("*")])).lower()


def test_one_that_does_not_fit_is_not_shown(tmp_path):
    bench(tmp_path, "  - write: number\n    value: '${pin}'\n")
    (tmp_path / "pin").write_text("correct horse")
    done = run(tmp_path, "--set", "pin=@pin")
    assert done.returncode == 4
    assert "the secret value pin does not fit where it is used" in done.stderr
    assert "horse" not in done.stdout + done.stderr + left(tmp_path)


def test_it_is_typed_unseen(tmp_path):
    bench(tmp_path)
    with contextlib.chdir(tmp_path):
        done, terminal = attended("run", "plan.yaml", "--radio", "virtual:device.yaml", script=[("pin:", f"{PIN}\n")])
    assert terminal.is_done
    assert PIN not in terminal.all_written + done.output + left(tmp_path)
    assert "*****" in terminal.all_written


def test_a_terminal_that_cannot_hide_it_is_not_used(tmp_path):
    bench(tmp_path)
    with contextlib.chdir(tmp_path):
        done, _ = attended("run", "plan.yaml", "--radio", "virtual:device.yaml", script=[], term="dumb")
    assert done.exit_code == 4
    assert "this terminal cannot hide what is typed" in done.stderr


@pytest.mark.parametrize("command", [["run", "plan.yaml", "--radio", "virtual:device.yaml"], ["check", "plan.yaml"]])
def test_it_is_refused_on_the_command_line(tmp_path, command):
    bench(tmp_path)
    done = here(*command, "--set", f"pin={PIN}", cwd=tmp_path)
    assert done.returncode == 4
    assert "would be visible in the process list" in done.stderr
    assert "--set pin=@FILE" in done.stderr
    assert PIN not in done.stderr


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("  - command: [echo, '${pin}']\n", "the secret 'pin' would be visible in the process list"),
        ("  - ask: 'is it ${pin}?'\n", "the secret 'pin' would be visible on the screen"),
        (
            "  - repeat: {code: ['${pin}']}\n    steps: [{write: word, value: '${code}'}]\n",
            "the secret 'pin' would be a value that any step in it can show",
        ),
        ("  - read: word\n    name: '${pin}'\n", "the secret 'pin' would be the name of a step"),
    ],
)
def test_where_others_would_see_it(tmp_path, step, said):
    bench(tmp_path, step)
    assert said in here("check", "plan.yaml", cwd=tmp_path).stderr


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("pin=@nothing", "nothing cannot be read"),
        ("pin=@env:NO_SUCH_VARIABLE", "the variable NO_SUCH_VARIABLE is not set"),
        ("pin=@empty", "nothing in empty"),
        ("pin=@short", "a secret has at least 4 characters"),
    ],
)
def test_what_is_not_there(tmp_path, given, said):
    bench(tmp_path)
    (tmp_path / "empty").touch()
    (tmp_path / "short").write_text("12")
    done = run(tmp_path, "--set", given)
    assert done.returncode == 4
    assert said in done.stderr


def test_a_secret_has_no_default(tmp_path):
    files(tmp_path, "  - read: word\n", head=HEAD.replace("secret: true", "secret: true, default: abcd"), device=DEVICE)
    assert "the default of a secret would be visible in the plan" in here("check", "plan.yaml", cwd=tmp_path).stderr


def test_an_identity_key_out_of_a_file(tmp_path):
    (tmp_path / "key").write_text("ec0234a357c8ad05341010a60a397d9b\n")
    done = here("decode", "--address", "70:81:94:0D:FB:AA", "--irk", "@key", cwd=tmp_path)
    assert done.returncode == 0
    assert "the address belongs to it" in done.stdout
    assert "ec0234a3" not in done.stdout


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("write: number\n    value: '${pin}'\n    read_back: true\n    expect: {value: {differs: '${pin}'}}", "it is the same as one that it must differ from"),
        ("read: number\n    expect: {value: {equals: '${pin}'}}", "it is another one"),
    ],
)  # fmt: skip
def test_how_a_secret_limit_was_broken_is_said(tmp_path, step, said):
    bench(tmp_path, f"  - {step}\n")
    (tmp_path / "pin").write_text(PIN)
    done = run(tmp_path, "--set", "pin=@pin")
    assert (done.returncode, f"a limit that is secret: {said}" in " ".join(done.stdout.split())) == (1, True), (
        done.stdout
    )
    assert [form for form in forms(PIN) if form in done.stdout] == []
