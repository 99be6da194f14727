"""Given values as words of a command line: NAME=VALUE, secret ones out of a file or a variable, for a process list shows every
word of a command."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from benchrig.errors import UsageError

MOST_BYTES = 4096
HOW = "give it as @FILE or @env:VARIABLE"


OPTION = "--set"


def parse_given(pairs: Iterable[str], option: str = OPTION) -> dict[str, str]:
    """Names and values of `name=value` words. UsageError for a word without '=' and for a name twice."""
    given: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name:
            raise UsageError(f"expected NAME=VALUE, found '{pair}'", advice=f"for example: {option} serial=VFL3-000042")
        if name in given:
            raise UsageError(f"'{name}' is set twice")
        given[name] = value
    return given


def brought(text: str) -> str:
    """What `@FILE` or `@env:VARIABLE` holds, without the end of its line. UsageError for any other text."""
    if not text.startswith("@"):
        raise UsageError("a secret would be visible in the process list", advice=HOW)
    where = text.removeprefix("@")
    value = _variable(where.removeprefix("env:")) if where.startswith("env:") else _file(Path(where))
    if not value:
        raise UsageError(f"nothing in {where}", advice="put the value there")
    return value


def with_secrets(path: Path, given: Mapping[str, str], option: str = OPTION) -> dict[str, str]:
    """Typed values of a plan with the secret ones brought. UsageError for one that was typed."""
    from benchrig.plan.names import secret_names

    secrets = secret_names(path) if given else frozenset()
    return {name: _secret(name, value, option) if name in secrets else value for name, value in given.items()}


def of_station(path: Path, given: Mapping[str, str], forbid: Sequence[str] = ()) -> dict[str, str]:
    """Of the values that a station gives those that this plan asks for: it serves many. `forbid` is what it does not allow."""
    from benchrig.plan.loader import load_plan

    asked = load_plan(path, names_will_do=True, forbid=forbid).given if given else {}
    return {name: value for name, value in given.items() if name in asked}


def _secret(name: str, value: str, option: str) -> str:
    if not value.startswith("@"):
        advice = f"write {option} {name}=@FILE or {option} {name}=@env:VARIABLE, or leave it out and type it when asked"
        raise UsageError(f"the value of '{name}' is secret, and would be visible in the process list", advice=advice)
    return brought(value)


def _variable(name: str) -> str:
    value = os.environ.get(name)
    if value is None:
        raise UsageError(f"the variable {name} is not set", advice="set it, and export it")
    return value


def _file(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        text = data.decode("utf-8-sig")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise UsageError(f"{path} cannot be read: {reason}", advice="give a file with the value as text") from error
    if len(data) > MOST_BYTES:
        raise UsageError(f"{path} has more than {MOST_BYTES} bytes", advice="give a file with the value alone")
    return text.removesuffix("\n").removesuffix("\r")
