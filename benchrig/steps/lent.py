"""The bench as a function of a plan has it: what testplans/reference/python.md says of it, and no more.

Its members that wait are coroutines, for an `async` function; the others may be used from a thread.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchrig.errors import MalformedValue, UsageError
from benchrig.steps.attribute import AttributeName
from benchrig.steps.payload import encode
from benchrig.values.base import flat
from benchrig.values.judging import in_brackets
from benchrig.values.quantity import Quantity, exact, is_number
from benchrig.values.units import unit_named

if TYPE_CHECKING:
    from types import TracebackType

    from benchrig.steps.bench import Bench as StepBench
    from benchrig.steps.bench import Stream, Target
    from benchrig.values.format import Format


class Bench:
    """In the hand of a function for as long as its step lasts: what the function leaves running must not give readings of
    a later step."""

    def __init__(self, lender: StepBench) -> None:
        self._lender: StepBench | None = lender

    def __enter__(self) -> Bench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._lender = None

    @property
    def _bench(self) -> StepBench:
        if self._lender is None:
            raise UsageError("the step that this bench was lent to is over", advice="return when all is done")
        return self._lender

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """What functions of earlier versions use beside what is documented."""
            return getattr(self._bench, name)

    # --- the run

    @property
    def given(self) -> Mapping[str, Any]:
        """The values of the run so far, by name: given ones as text, saved ones as they were read."""
        return self._bench.given

    @property
    def folder(self) -> Path:
        """Where the run keeps its files; it is there when it has been asked for."""
        folder = self._bench.folder
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    @property
    def plan_folder(self) -> Path:
        """Where the plan is."""
        return self._bench.plan_folder

    @property
    def attempt(self) -> int:
        """Which attempt of the step this is, from 1."""
        return self._bench.attempt

    # --- the operator

    async def confirm(self, question: str) -> bool:
        """Ask a question of yes or no. OperatorError when nobody answers; so the next two."""
        with self._bench.outside():
            return await self._bench.operator.confirm(question)

    async def enter(self, question: str) -> str:
        with self._bench.outside():
            return await self._bench.operator.enter(question)

    async def choose(self, question: str, options: list[str]) -> str:
        with self._bench.outside():
            return await self._bench.operator.choose(question, options)

    # --- time

    @property
    def time_left(self) -> float:
        """Seconds until the deadline of this attempt."""
        return self._bench.time_left

    def now(self) -> float:
        """Seconds on the clock of the run."""
        return self._bench.now()

    def since(self, started: float) -> float:
        """Seconds from then to now."""
        return self._bench.since(started)

    async def pause(self, seconds: float) -> None:
        """Wait; ends early with LinkLost when the link is lost."""
        await self._bench.pause(seconds)

    # --- what is said

    def note(self, text: str) -> None:
        """A sentence for the record."""
        self._bench.note(text)

    def wanted(self, name: str) -> bool:
        """Whether the plan names this reading of the step."""
        return self._bench.wanted(name)

    def reading(self, name: str, value: Any, unit: str = "", *, why: str = "") -> None:
        """A reading now, before the function returns: judged and on record at once. Of None `why` says what it lacks."""
        self._bench.reading(name, value, unit, why=why)

    def stream(self, name: str, unit: str = "") -> Stream:
        """A reading of many samples: `add` each, and `close` it when all have come."""
        return self._bench.stream(name, unit)

    def not_measured(self, name: str, why: str) -> None:
        """The station could not measure this reading: its limit is not judged."""
        self._bench.not_measured(name, why)

    # --- the device

    @property
    def is_connected(self) -> bool:
        return self._bench.device.is_up

    async def connect(self, within: float) -> None:
        """Connect to the device of the plan, which is looked for first where nothing has heard it yet."""
        await self._bench.connect(within)

    async def disconnect(self) -> None:
        await self._bench.disconnect()

    async def read(self, name: str) -> Any:
        """The value of an attribute: a Quantity where its format has a unit, a mapping of a structure, bytes without a
        format."""
        bench = self._bench
        target = bench.target(AttributeName.from_source(name), ("read",))
        data = await bench.link.read(target.found.attribute, f"read {name}", bench.time_left)
        return _decoded(data, target)

    async def write(self, name: str, value: Any, *, response: bool = True) -> None:
        """Write a value in the format of the attribute, or bytes."""
        bench = self._bench
        needs = ("write", "reliable write") if response else ("write without response",)
        target = bench.target(AttributeName.from_source(name), needs)
        form = None if isinstance(value, (bytes, bytearray)) else target.format
        data, attribute = encode(form, value, None), target.found.attribute
        bench.note(f"sends {data.hex(' ').upper() or '(no bytes)'}", data)
        await bench.link.write(attribute, data, f"write {name}", bench.time_left, response=response)
        bench.device.learn(attribute, data)


def _decoded(data: bytes, target: Target) -> Any:
    form = target.format
    if form is None:
        return data
    try:
        value = form.decode(data)
    except MalformedValue as error:
        raise MalformedValue(f"{target.name}: {error.message}{in_brackets(data)}") from error
    return _with_units(value, form)


def _with_units(value: Any, form: Format) -> Any:
    if not isinstance(value, dict):
        return _with_unit(value, form.unit)
    units = form.fields()
    return {name: _with_unit(item, units.get(name, "")) for name, item in flat(value).items()}


def _with_unit(value: Any, unit: str) -> Any:
    return Quantity(exact(value), unit_named(unit)) if unit and is_number(value) else value
