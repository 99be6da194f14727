"""The value of a simulated characteristic: where it comes from, and which of its fields come from elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchrig.values.structs import StructFormat

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.sources import Source
    from benchrig.values.base import Format


@dataclass(frozen=True)
class Origin:
    """A source, and the time at which its own began; None: when the device was switched on."""

    source: Source
    begins: float | None = None

    def take(self, uptime: float, now: float, rng: random.Random) -> bytes:
        return self.source.take(uptime if self.begins is None else max(0.0, now - self.begins), rng)


class Value:
    def __init__(self, source: Source, form: Format | None) -> None:
        self._whole = Origin(source)
        self._fields: dict[str, Origin] = {}
        self._format = form

    def put(self, source: Source, name: str = "", begins: float | None = None) -> None:
        """From now on the value, or this field of it, comes from this source."""
        if name:
            self._fields[name] = Origin(source, begins)
        else:
            self._whole, self._fields = Origin(source, begins), {}

    def drop(self, name: str) -> None:
        """The field comes from the whole again."""
        self._fields.pop(name, None)

    def comes_from(self, source: Source) -> bool:
        return any(origin.source is source for origin in (self._whole, *self._fields.values()))

    def take(self, uptime: float, now: float, rng: random.Random) -> bytes:
        """The next value. Raises MalformedValue for one that the format cannot carry."""
        octets = self._whole.take(uptime, now, rng)
        form = self._format
        if not self._fields or not isinstance(form, StructFormat):
            return octets
        leaves = form.leaves()
        values = {name: leaves[name].decode(one.take(uptime, now, rng)) for name, one in self._fields.items()}
        return form.encode(_replaced(form.decode(octets), values, form))

    def current(self, uptime: float, now: float, rng: random.Random, name: str = "") -> bytes:
        """The value that comes next, or a field of it, without taking it."""
        copy = Value(self._whole.source.fresh(), self._format)
        copy._whole = Origin(copy._whole.source, self._whole.begins)
        copy._fields = {key: Origin(one.source.fresh(), one.begins) for key, one in self._fields.items()}
        octets = copy.take(uptime, now, rng)
        if not name or self._format is None:
            return octets
        return self._format.leaves()[name].encode(_field(self._format.decode(octets), name))


def _replaced(decoded: Any, values: dict[str, Any], form: StructFormat) -> dict[str, Any]:
    """The decoded structure with these fields. A number and its parts say the same, so the other of the two goes."""
    made = dict(decoded)
    for item in form.items:
        prefix = f"{item.name}."
        inner = {name.removeprefix(prefix): value for name, value in values.items() if name.startswith(prefix)}
        if inner and isinstance(item.format, StructFormat):
            made[item.name] = _replaced(made[item.name], inner, item.format)
        if item.parts and (given := values.keys() & set(item.names)):
            for name in [item.name] if given - {item.name} else item.names[1:]:
                made.pop(name, None)
    return made | {name: value for name, value in values.items() if "." not in name}


def _field(decoded: Any, name: str) -> Any:
    for part in name.split("."):
        decoded = decoded[part]
    return decoded
