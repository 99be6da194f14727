"""What is wrong between the radios and the wires of a station: which slots would share what only one unit may have."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchrig.errors import UsageError
from benchrig.radio.specify import RadioChoice
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.station.around import ConsoleText, PowerCommands
from benchrig.station.slots import RadioSpec, SlotSpec

_SIMULATED = "virtual"


@dataclass(frozen=True)
class Wires:
    """Of one station file; `radio`, `console` and `power` are those that it names for all slots."""

    radios: Mapping[str, RadioSpec]
    slots: Mapping[str, SlotSpec]
    radio: str | None
    console: ConsoleText | None
    power: PowerCommands | None
    rehearses: bool

    def misfits(self) -> Iterator[Misfit]:
        for name, slot in self.slots.items():
            yield from self._radio_of(name, slot)
        yield from self._unused()
        yield from self._unknown_radios()
        yield from self._doubled_radios()
        yield from self._mixed()
        yield from self._shared("console", self.console)
        yield from self._shared("power", self.power)

    def _radio_of(self, name: str, slot: SlotSpec) -> Iterator[Misfit]:
        if slot.radio and slot.radio not in self.radios:
            advice = suggest(slot.radio, self.radios) or "write it under radios"
            yield Misfit(f"the station has no radio '{slot.radio}'", advice, ("slots", name, "radio"))
        elif not slot.radio and self.radios and not self.radio:
            yield Misfit(f"the slot '{name}' has no radio", f"add radio: {next(iter(self.radios))}", ("slots", name))

    def _unused(self) -> Iterator[Misfit]:
        used = {slot.radio for slot in self.slots.values()}
        for name in self.radios:
            if name not in used:
                yield Misfit(
                    f"no slot uses the radio '{name}'",
                    f"add a slot with radio: {name}, or take it out",
                    ("radios", name),
                )

    def _unknown_radios(self) -> Iterator[Misfit]:
        for name, spec in self.radios.items():
            if spec.radio == _SIMULATED and self.rehearses:
                continue
            try:
                RadioChoice.parse(spec.radio)
            except UsageError as error:
                yield Misfit(error.message, error.advice, ("radios", name, "radio"))

    def _doubled_radios(self) -> Iterator[Misfit]:
        seen = dict[str, str]()
        for name, spec in self.radios.items():
            other = seen.setdefault(spec.radio, name)
            if other != name and not _is_simulated(spec.radio):
                message = f"the radios '{other}' and '{name}' are the same one, {spec.radio}"
                yield Misfit(message, "name another adapter, or let the slots share one", ("radios", name, "radio"))

    def _mixed(self) -> Iterator[Misfit]:
        """A rehearsal has no real radio, and a line is real with all of its radios or with none."""
        named: list[tuple[tuple[str, ...], str]] = [
            (("radios", name, "radio"), spec.radio) for name, spec in self.radios.items()
        ]
        if self.radio and any(not slot.radio for slot in self.slots.values()):
            named.append((("radio",), self.radio))
        real = [(path, text) for path, text in named if not _is_simulated(text)]
        if self.rehearses:
            for path, text in real:
                yield Misfit(
                    f"a rehearsal needs simulated radios, found {text}", "write virtual, or take out rehearsal", path
                )
        elif real and len(real) < len(named):
            path, text = next((path, text) for path, text in named if _is_simulated(text))
            yield Misfit(f"{text} is simulated, and other radios of the station are real", "name a real radio", path)

    def _shared(self, key: str, common: Hashable | None) -> Iterator[Misfit]:
        """What is wired to one unit: another slot's run would take its lines, or switch it off."""
        seen = dict[Any, str]()
        for name, slot in self.slots.items():
            own = getattr(slot, key)
            wire = own if own is not None else common
            if wire is None:
                continue
            text = repr(wire)
            if (other := seen.setdefault(text, name)) != name:
                path: tuple[str, ...] = ("slots", name, key) if own is not None else ("slots", name)
                yield Misfit(
                    f"the slots '{other}' and '{name}' have the same {key}", f"write {key} for each slot", path
                )


def _is_simulated(text: str) -> bool:
    return text.partition(":")[0] == _SIMULATED
