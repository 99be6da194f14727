"""What a step came to: its readings, or what it raises."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchrig.errors import BenchrigError, LimitFailed, StationError
from benchrig.record.events import Closed, Reading, Samples
from benchrig.record.secrets import octets
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values.judging import in_brackets
from benchrig.values.quantity import Quantity, exact, is_number
from benchrig.values.units import unit_named

# By which a step is told from one of the same name before.
_COUNT = re.compile(r" \(\d+\)$")


@dataclass(frozen=True)
class Measured:
    """One reading: its value (a Quantity where there is a unit, else a number, text, bytes, truth value or list; None
    where there was none), the bytes behind it, and of a stream the statistics of its samples."""

    value: Any
    raw: bytes | None = None
    samples: Samples | None = None


@dataclass(frozen=True)
class Done:
    """A step that passed: `readings` by name, the seconds that it took, its name in the record."""

    step: str
    readings: Mapping[str, Measured] = field(default_factory=dict)
    elapsed: Quantity = Quantity(0, "s")  # noqa: RUF009  # it never changes

    def __getitem__(self, name: str) -> Any:
        """The value of a reading."""
        return self._of(name).value

    def raw(self, name: str = "value") -> bytes | None:
        """The bytes behind a reading."""
        return self._of(name).raw

    def _of(self, name: str) -> Measured:
        if name in self.readings:
            return self.readings[name]
        raise KeyError(f"{self.step} gave no reading '{name}': {suggest(name, self.readings)}")

    @property
    def value(self) -> Any:
        """What was read: the value, or those of its fields by name; None where the step gave none."""
        if "value" in self.readings or "att_error" in self.readings:
            return self.readings["value"].value if "value" in self.readings else None
        fields = {name.removeprefix("value."): each.value for name, each in self.readings.items() if "." in name}
        return fields or None


def measured(reading: Reading, native: Mapping[str, Any]) -> Measured:
    """`native` are the values that are no text in the record but were something else."""
    value = reading.value if reading.samples else native.get(reading.name, reading.value)
    return Measured(with_unit(value, reading.unit), octets(reading.raw) or None, reading.samples)


def with_unit(value: Any, unit: str) -> Any:
    """A number with its unit; what has none, or one that no plan could name, as it is."""
    if unit and is_number(value):
        try:
            return Quantity(exact(value), unit_named(unit))
        except Misfit:
            return value
    return [with_unit(each, unit) for each in value] if unit and isinstance(value, list) else value


def failure(step: str, end: Closed, error: BenchrigError | None, readings: Mapping[str, Reading]) -> BenchrigError:
    """What a step that did not pass raises: its own error with the sentence of the record, or one for its limits."""
    broken = [each for each in readings.values() if each.judgement is not None and not each.judgement.passed]
    if error is not None:
        return restated(error, f"{step}: {_without(step, end.message)}{_bytes(broken)}")
    if end.cause != "limit" or not broken:
        return (LimitFailed if end.cause == "limit" else StationError)(f"{step}: {end.message}", advice=end.advice)
    return LimitFailed(
        f"{step}: {'; '.join(dict.fromkeys(_sentence(step, each) for each in broken))}{_bytes(broken)}",
        advice=end.advice,
    )


def _without(step: str, message: str) -> str:
    """What went wrong in a step often begins with its name."""
    return message.removeprefix(f"{_COUNT.sub('', step)}: ")


def _sentence(step: str, broken: Reading) -> str:
    """As a plan says it: with the name of the reading where that says more than 'value', or than the step."""
    assert broken.judgement is not None
    said = broken.judgement.sentence
    return said if broken.name in ("value", _COUNT.sub("", step)) else f"{broken.name}: {said}"


def _bytes(broken: Iterable[Reading]) -> str:
    """Those behind the values that broke a limit, each once; of a stream behind the first one that did."""
    found = dict.fromkeys(octets(each.raw) for each in broken if not each.samples or each.samples.outside)
    return "".join(in_brackets(data) for data in found if data)


def restated(error: BenchrigError, said: str) -> BenchrigError:
    """The same kind of error, with what it knows, in these words, which the record has."""
    other = type(error).__new__(type(error))
    other.__dict__.update(error.__dict__)
    other.args, other.message = (said,), said
    other.__cause__, other.is_told = error.__cause__, True
    return other
