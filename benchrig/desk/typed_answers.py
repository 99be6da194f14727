"""Several answers of an exchange as options say them: what tells the last one, and what of each is header."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from benchrig.errors import UsageError
from benchrig.source.shape import Misfit
from benchrig.steps.answers import Answers, Last
from benchrig.steps.size import Size
from benchrig.values.spec import raw_number

LAST = {"--last-starts-with": "HEX", "--last-equals": "HEX", "--last-shorter-than": "BYTES", "--last-count": "NUMBER"}
HEADER = {"--skip": "NUMBER", "--counter": "NUMBER"}
OPTIONS = LAST | HEADER


def typed_answers(options: Mapping[str, str]) -> Answers | None:
    """What the options say, by their names as they are typed; None without any of them. UsageError."""
    last = {_field(name): _read(name, options[name]) for name in LAST if name in options}
    header = {_field(name): _read(name, options[name]) for name in HEADER if name in options}
    if not last and header:
        advice = "say which answer is the last one, for example: --last-starts-with FF"
        raise UsageError(f"--{next(iter(header))} goes with several answers", advice=advice)
    if not last:
        return None
    answers = Answers(Last(**last), **header)
    for misfit in (*answers.last.misfits(), *answers.misfits()):
        raise UsageError(misfit.message, advice=misfit.advice)
    return answers


def answers_data(answers: Answers) -> dict[str, Any]:
    """As a plan writes it."""
    last = {name: getattr(answers.last, name) for name in Last.__struct_fields__}
    told = {name: _plain(item) for name, item in last.items() if item is not None}
    rest = {name: getattr(answers, name) for name in ("skip", "counter")}
    return {"last": told} | {name: item for name, item in rest.items() if item not in (None, _default(name))}


def _default(name: str) -> Any:
    return next(each.default for each in msgspec.structs.fields(Answers) if each.name == name)


def _plain(item: Any) -> Any:
    return (item.number or str(item)) if isinstance(item, Size) else item


def _field(option: str) -> str:
    return option.removeprefix("--").removeprefix("last-").replace("-", "_")


def _read(option: str, text: str) -> Any:
    try:
        if OPTIONS[option] == "HEX":
            return text
        if OPTIONS[option] == "BYTES" and not text.isdecimal():
            return Size.from_source(text)
        number = raw_number(text)
        return Size.from_source(number) if OPTIONS[option] == "BYTES" else number
    except Misfit as misfit:
        raise UsageError(f"{option}: {misfit.message}", advice=misfit.advice) from misfit
