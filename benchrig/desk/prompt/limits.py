"""Values that were seen in a session -> what a plan says about them: the value to write, and limits on a reading.

The limits are those that a draft of one unit proposes, so they are guesses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from benchrig.errors import MalformedValue, UnfitValue
from benchrig.propose.proposal import Basis, Proposal
from benchrig.propose.value import value_limits
from benchrig.source.writing import decimal_text
from benchrig.steps.payload import encode
from benchrig.values.quantity import is_number

if TYPE_CHECKING:
    from benchrig.desk.prompt.deeds import Subject
    from benchrig.values.format import Format

_LONGEST = 400


def written(value: Any, unit: str = "") -> Any:
    """A decoded value as a plan writes it: with its unit, bytes as hex text. None where it cannot be written."""
    if isinstance(value, bool):
        return value
    if isinstance(value, (bytes, bytearray)):
        return bytes(value).hex(" ").upper()
    if isinstance(value, str):
        return str(value) if len(value) <= _LONGEST else None
    if isinstance(value, list):
        items = [written(item, unit) for item in value]
        return None if None in items else items
    text = decimal_text(value) if is_number(value) else None
    if text is None:
        return None
    return f"{text} {unit}" if unit else Decimal(text)


def proposals(
    subject: Subject, form: Format | None, samples: Sequence[bytes], *, stream: bool = False
) -> Mapping[str, Proposal]:
    """Limits by reading for one attribute, from all the bytes that it has had without being written, in this format;
    those of a `stream` are judged together. MalformedValue where they do not fit the format."""
    values = [data if form is None else form.decode(data) for data in samples]
    basis = Basis(together=len(values) if stream else 1)
    return value_limits(form, {"": values}, basis, uuid=subject.uuid, setting=subject.settable)


def why_not(form: Format | None, samples: Sequence[bytes]) -> str:
    """Why the bytes are no values in this format; '' where they are."""
    try:
        for data in samples if form else ():
            form.decode(data)  # type: ignore[union-attr]
    except MalformedValue as error:
        return error.message
    return ""


def value_of(form: Format, data: bytes) -> Any:
    """The value as a plan writes it, where the format gives just these bytes for it; else None."""
    try:
        decoded = form.decode(data)
        units = form.fields()
        value = _fields(decoded, units) if isinstance(decoded, dict) else written(decoded, form.unit)
        return value if value is not None and encode(form, value, None) == data else None
    except (MalformedValue, UnfitValue):
        return None


def _fields(decoded: dict[str, Any], units: dict[str, str], prefix: str = "") -> dict[str, Any] | None:
    made: dict[str, Any] = {}
    for name, item in decoded.items():
        inner = isinstance(item, dict)
        path = f"{prefix}{name}"
        made[name] = _fields(item, units, f"{path}.") if inner else written(item, units.get(path, ""))
    return None if None in made.values() else made
