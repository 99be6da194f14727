"""Secret values of the command line: out of a file or a variable, for a process list shows every word of a command."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from benchrig.errors import UsageError

MOST_BYTES = 4096
HOW = "give it as @FILE or @env:VARIABLE"


def brought(text: str) -> str:
    """What `@FILE` or `@env:VARIABLE` holds, without the end of its line. UsageError for any other text."""
    if not text.startswith("@"):
        raise UsageError("a secret would be visible in the process list", advice=HOW)
    where = text.removeprefix("@")
    value = _variable(where.removeprefix("env:")) if where.startswith("env:") else _file(Path(where))
    if not value:
        raise UsageError(f"nothing in {where}", advice="put the value there")
    return value


def with_secrets(path: Path, given: Mapping[str, str]) -> dict[str, str]:
    """Typed values of a plan with the secret ones brought."""
    from benchrig.plan.names import secret_names

    secrets = secret_names(path) if given else frozenset()
    return {name: _secret(name, value) if name in secrets else value for name, value in given.items()}


def _secret(name: str, value: str) -> str:
    if not value.startswith("@"):
        advice = f"write --set {name}=@FILE or --set {name}=@env:VARIABLE, or leave it out and type it when asked"
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
