"""An open radio: it finds units, and keeps the record of all that is done with them."""

from __future__ import annotations

from pathlib import Path

from benchrig.api.place import calling_place
from benchrig.api.run import GrowingRun
from benchrig.api.unit import FoundUnit
from benchrig.api.verbs import Asked, Data, Time, awaited
from benchrig.api.words import mapping_node
from benchrig.errors import UsageError
from benchrig.launch import PreparedRun
from benchrig.plan.brought import Brought
from benchrig.plan.model import PlanDevice
from benchrig.radio.choosing import Advice
from benchrig.radio.unit import Unit
from benchrig.record.aggregate import build_record
from benchrig.record.model import Record
from benchrig.source.problem import Place, suggest

_ADVICE = Advice(
    "the selection fits it",
    "switch the others off, or narrow the selection",
    ", for example with nearest: '6 dB'",
)


class OpenedRadio(Asked):
    """Its context is open: see `open_radio`."""

    def __init__(self, run: GrowingRun, brought: Brought, prepared: PreparedRun) -> None:
        super().__init__(run)
        self._brought, self._prepared = brought, prepared
        # the key of each device by what it was looked for
        self._units: dict[str, str] = {}

    @property
    def record(self) -> Record:
        """What the run has left so far."""
        return build_record(self._prepared.events.kept)

    @property
    def folder(self) -> Path | None:
        """Where the run leaves its record and its reports; None without results."""
        return self._prepared.runner.settings.folder if self._prepared.options.results is not None else None

    @awaited
    async def find(
        self,
        select: str | Data | None = None,
        *,
        unit: str = "",
        for_: Time | None = None,
        within: Time | None = None,
        expect: Data | None = None,
        **keys: object,
    ) -> FoundUnit:
        """Listen for a unit: a scan step. `select` is a name, or a selection as a plan has one; without it the device of the
        plan that `names` named is meant, of several the one that is called `unit`. The same selection means the same unit.
        What several fit, or none, raises."""
        place = calling_place()
        device = self._planned(select, unit, place)
        key = await self._key(device, unit)
        keys |= {"for_": for_, "within": within, "expect": expect}
        await self._run.carry_out("scan", None, keys, key, place=place)
        return FoundUnit(self._run, key)

    def _planned(self, select: str | Data | None, unit: str, place: Place) -> PlanDevice:
        if select is not None:
            said = {"name": select} if isinstance(select, str) else select
            return PlanDevice(mapping_node({"select": said}, place), self._brought.names)
        plan = self._brought.plan
        if plan is None:
            raise UsageError(
                "nothing says which unit is meant", advice="write find('NAME'), or open the radio with names="
            )
        if unit not in plan.devices:
            advice = suggest(unit, plan.devices) if unit else f"write unit= with one of: {', '.join(plan.devices)}"
            raise UsageError(f"the plan {plan.path} has no device '{unit}'", advice=advice)
        return plan.devices[unit]

    async def _key(self, device: PlanDevice, unit: str) -> str:
        """What the unit is called in the record, where it is one device of several."""
        values = self._brought.plan.values if self._brought.plan else {}
        selection, meant = device.selection(values), str(device.written())
        if meant not in self._units:
            key = unit or ("" if not self._units else f"unit {len(self._units) + 1}")
            if key in self._units.values():
                raise UsageError(f"another unit is called '{key}'", advice="give each unit= its own name")
            radio, offset = self._run.radio, self._run.runner.settings.station.offset
            await self._run.meet(key, Unit(radio, selection, _ADVICE, offset, label=key), device)
            self._units[meant] = key
        return self._units[meant]
