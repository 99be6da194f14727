"""Texts and words that are nearly right."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

SCALARS = [
    "", "null", "~", "true", "on", "no", "0", "-1", "03", "1e9", "0.1", "21.", ".5", "1_000", "0x2A6E", "0x", "2902", "12:30",
    "2026-01-31", "9" * 61, "5 s", "-5 s", "5", "20 °C", "5 %", "5 furlongs", "3,5 V", "temperature", "battery service",
    "battery/battery level", "temperature[9]", "handle 0x0012", "handle 0x0", "uint16", "medfloat16", "hex", "'${a}'", "'${'",
    "'${serial}${serial}'", "'$$'", "'(a'", "'(?=a)'", "'(a+)+b'", "'a{,3}'", "parts/identity.yaml", ".", "/dev/null", "a: b",
    "DE AD", "'DE A'", "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40", "not known", "'not known'", "{}", "[]", "[[[]]]", "{a: {b: c}}",
    "&a", "*a", "!tag x", "|", ">", "'", '"', "\t", "\0", "\x1b[31m", "\u2028", "\ud800", "\U0001f600", "«", "%", "@", "`", "#",
]  # fmt: skip


_SANE = SCALARS[: SCALARS.index("&a")]
_VALUE = re.compile(r"(?:[:,\[] |\[|- )([^\[\]{},:]+)")


def text(rng: random.Random, sound: str) -> str:
    """A sound file with a few words and lines exchanged, doubled, cut or filled with something else."""
    lines = sound.split("\n")
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        at = rng.randrange(len(lines))
        lines[at] = rng.choice(_CHANGES)(rng, lines, lines[at])
    return "\n".join(lines)


def _word(rng: random.Random, lines: list[str], line: str) -> str:
    words = line.split(" ")
    words[rng.randrange(len(words))] = rng.choice(SCALARS)
    return " ".join(words)


def _value(rng: random.Random, lines: list[str], line: str) -> str:
    return f"{line.rpartition(':')[0] or line}: {rng.choice(SCALARS)}"


def _inner(rng: random.Random, lines: list[str], line: str) -> str:
    """One value within brackets, or behind a key: what is around it stays sound."""
    values = [*_VALUE.finditer(line)]
    if not values:
        return line
    found = rng.choice(values)
    return line[: found.start(1)] + rng.choice(_SANE) + line[found.end(1) :]


def _within(rng: random.Random, lines: list[str], line: str) -> str:
    cut = rng.randint(0, len(line))
    return line[:cut] + rng.choice(SCALARS) + line[cut:]


def _cut(rng: random.Random, lines: list[str], line: str) -> str:
    return line[: rng.randint(0, len(line))]


def _other(rng: random.Random, lines: list[str], line: str) -> str:
    return rng.choice(lines)


def _twice(rng: random.Random, lines: list[str], line: str) -> str:
    return f"{line}\n{line}"


def _shifted(rng: random.Random, lines: list[str], line: str) -> str:
    return rng.choice(["  " + line, " " + line, line.lstrip(), line[1:]])


_CHANGES: list[Callable[[random.Random, list[str], str], str]] = [
    _inner, _inner, _inner, _inner, _inner, _inner, _word, _value, _within, _cut, _other, _twice, _shifted,
]  # fmt: skip


def words(rng: random.Random, sound: list[str]) -> list[str]:
    """A sound command line with a word or two exchanged, left out, doubled or put in."""
    changed = [*sound]
    for _ in range(rng.randint(1, 2)):
        at = rng.randrange(len(changed) + 1)
        what = rng.choice(["put", "put", "drop", "exchange", "twice"])
        if what == "put":
            changed.insert(at, rng.choice(_ODD_WORDS))
        elif at < len(changed):
            changed[at : at + 1] = {
                "drop": [],
                "exchange": [rng.choice(_ODD_WORDS)],
                "twice": [changed[at]] * 2,
            }[what]
    return changed


_ODD_WORDS = ["", "-", "--", "--json", "--set", "--set=a", "a=b", "serial=", "--radio", "virtual:", "virtual:nothing.yaml", "hci:",
              "host:x", "nonsense", "--seed", "-1", "1e9", "--only", "99", "--from", "0", "--station", "--as", "uint16", "hex", "--raw",
              "zz", "01 A0", "--scale", "--unit", "°C", "--presentation", "--address", "C0:00:00:00:00:01", "--irk", "@nothing",
              "@env:NOTHING", "--schema", "--advertising", "--attribute", "temperature", "-h", "--bogus", "--order", "big", "\udcff",
              "\x1b[31m", "9" * 400, "${a}", "--length", "5", "--within", "5", "5s", "--sort", "--out"]  # fmt: skip
