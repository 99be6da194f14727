"""Which unit is in a slot, decided from what was heard and told. Pure: the same scene gives the same answer.

A proof has two halves: that a device on the air is the unit of the barcode (its address, or the serial number that it tells), and
that it is in this slot and in no other (its levels). Where all slots share a radio the second half cannot be had: see
`Place.kind`. Whatever is left open is not proven.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchrig.line.proof import (
    Absent,
    Claim,
    Elsewhere,
    NotProven,
    Outcome,
    Proven,
    Told,
    Unconfirmed,
    WrongLabel,
)
from benchrig.line.scene import ENOUGH_REPORTS, Ask, Candidate, Scene
from benchrig.source.problem import printable

# By so many margins one unit leads another one that is in the same slot.
_MUCH = 3


def decide(scene: Scene) -> Outcome | Ask:
    """What it comes to, or what has to be asked first."""
    return _Deciding(scene).decided()


class _Deciding:
    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.expected, self.place, self.margin = scene.expected, scene.place, scene.margin
        claimed = {claim.address for claim in scene.claims}
        free = [each for each in scene.heard if each.address not in claimed]
        radio = self.place.radio
        self.free = sorted(free, key=lambda each: (-each.at(radio), -max(each.levels.values()), each.address))

    def decided(self) -> Outcome | Ask:
        if (claim := self._claim()) is not None:
            return Elsewhere(claim.slot, f"this unit is in slot {claim.slot}")
        named = next((each for each in self.free if each.address == self.expected.address), None)
        if named is not None:
            return self._by_address(named)
        if self.expected.serial:
            return self._by_serial()
        return self._without_address() if self.expected.address else self._by_level()

    def _claim(self) -> Claim | None:
        """That of another slot whose unit is the one of the barcode."""
        serial, address = self.expected.serial, self.expected.address
        return next(
            (
                claim
                for claim in self.scene.claims
                if (serial and claim.serial == serial) or (address and claim.address == address)
            ),
            None,
        )

    # --- the three ways to know it

    def _by_address(self, unit: Candidate) -> Outcome | Ask:
        if self.expected.serial and self._is_open(unit):
            return self._ask(unit)
        if (doubt := self._misplaced(unit)) is not None:
            return doubt
        told = self._told(unit)
        if self.expected.serial and told.serial not in ("", self.expected.serial):
            return self._wrong_serial(unit)
        return Proven(unit.address, told.serial, unit.rotates, _failed(told), "address")

    def _by_serial(self) -> Outcome | Ask:
        """All that fit are asked before it is said that a label is wrong: its unit may lie near."""
        for asked in (self._in_reach(), self.free):
            for unit in asked:
                if self._told(unit).serial == self.expected.serial:
                    return self._told_so(unit, asked)
            if (unknown := self._next_of(asked)) is not None:
                return self._ask(unknown)
            front = self._front()
            if front is None or not self._told(front).serial:
                break
        return self._not_found(asked)

    def _by_level(self) -> Outcome | Ask:
        if self.place.kind == "scan":
            return NotProven(
                "the barcode has neither a serial number nor an address, and the slot shares its radio",
                "use a slot with a separate radio, or a barcode that tells which unit it is",
            )
        front = self._front()
        if front is None:
            return self._nobody_in_front()
        if self._is_open(front):
            return self._ask(front)
        serial = self._told(front).serial
        if not serial:
            return self._unconfirmed(front)
        if (other := next((claim for claim in self.scene.claims if claim.serial == serial), None)) is not None:
            return NotProven(
                f"the unit in slot {other.slot} has the same serial number, '{printable(serial)}'",
                "test the two one after the other",
            )
        return Proven(front.address, serial, front.rotates, 0, "strongest")

    def _without_address(self) -> Outcome:
        """The barcode has an address alone, and it was not heard."""
        maybe = [each for each in self.free if not each.stays]
        if maybe and (self.place.kind == "scan" or any(self._may_be_here(each) for each in maybe)):
            return NotProven(
                f"the barcode has an address alone, and {_listed(maybe)} may be the unit under another one",
                "put the serial number into the barcode, or let the unit advertise with its own address",
            )
        if self.place.kind != "scan" and (front := self._front()) is not None:
            return self._wrong_address(front)
        return Absent(f"the unit {self.expected.address} was not heard")

    # --- what a serial number comes to

    def _told_so(self, unit: Candidate, asked: Sequence[Candidate]) -> Outcome | Ask:
        """The unit tells the serial number of the barcode."""
        if (claim := self._staying(unit)) is not None:
            return Elsewhere(claim.slot, f"this unit is in slot {claim.slot}")
        rivals = [each for each in asked if each is not unit and self._could_be_meant(each, unit)]
        if (unknown := self._next_of(rivals, trusting_hints=True)) is not None:
            return self._ask(unknown)
        doubles = [each for each in rivals if self._told(each).serial == self.expected.serial]
        if doubles:
            return NotProven(
                f"several units have the serial number '{printable(self.expected.serial)}': {_listed([unit, *doubles])}",
                "take all but one out, and test them one after the other",
            )
        if (doubt := self._misplaced(unit)) is not None:
            return doubt
        if self._is_another(unit):
            return self._wrong_address(unit)
        return Proven(unit.address, self.expected.serial, unit.rotates, _failed(self._told(unit)))

    def _not_found(self, asked: Sequence[Candidate]) -> Outcome:
        """All in reach were asked, and none tells the serial number of the barcode."""
        serial = printable(self.expected.serial)
        if self.place.kind != "scan":
            front = self._front()
            if front is None:
                return self._nobody_in_front()
            if self._told(front).serial:
                return self._wrong_serial(front)
            return self._wrong_address(front) if self._is_another(front) else self._unconfirmed(front)
        known = [each for each in asked if self._is_another(each) or self._staying(each) or self._has_left(each)]
        left = [each for each in asked if each not in known]
        if not left:
            return Absent(f"the unit '{serial}' was not heard")
        said = "; ".join(f"{each.address} {self._answer(each)}" for each in left[:4])
        return NotProven(f"no unit with the serial number '{serial}' was found: {said}", "check the label and the unit")

    def _staying(self, unit: Candidate) -> Claim | None:
        """Of a unit that is in another slot still, and tells now what it told then."""
        serial = self._told(unit).serial
        of_it = (claim for claim in self.scene.staying if claim.address == unit.address)
        return next((claim for claim in of_it if serial and claim.serial == serial), None)

    def _has_left(self, unit: Candidate) -> bool:
        """A unit that was taken out while it was asked: it told another serial number when it was tested."""
        before = self.scene.gone.get(unit.address, "")
        return not self._told(unit).connected and before not in ("", self.expected.serial)

    def _wrong_serial(self, unit: Candidate) -> Outcome:
        told, label = self._told(unit), self.expected.serial
        if self.scene.gone.get(unit.address) == told.serial:
            return NotProven(
                f"the unit '{printable(told.serial)}' was tested before, and is still in the slot",
                "put the unit of the label into the slot",
            )
        if not self._is_surely_here(unit):
            return NotProven(
                f"another unit answers, '{printable(told.serial)}': nothing shows that it is the one in the slot",
                "see whether the unit in the slot has power and is the one of the label, and take the others away",
            )
        why = f"the unit has the serial number '{printable(told.serial)}', its label says '{printable(label)}'"
        return WrongLabel(unit.address, told.serial, unit.rotates, _failed(told), why)

    def _wrong_address(self, unit: Candidate) -> Outcome:
        """It is surely the unit, by its level or its serial number."""
        if not unit.stays:
            return self._unconfirmed(unit)
        told = self._told(unit)
        is_meant = bool(told.serial) and told.serial == self.expected.serial
        if not is_meant and not self._is_surely_here(unit):
            return NotProven(
                f"another unit answers, {unit.address}: nothing shows that it is the one in the slot",
                "see whether the unit in the slot has power and is the one of the label, and take the others away",
            )
        why = f"the unit has the address {unit.address}, its label says {self.expected.address}"
        return WrongLabel(unit.address, told.serial, unit.rotates, _failed(told), why)

    def _unconfirmed(self, unit: Candidate) -> Outcome:
        told = self._told(unit)
        why, sure = f"{unit.address} {self._answer(unit)}", self._is_surely_here(unit)
        return Unconfirmed(unit.address, "", unit.rotates, _failed(told), why, sure)

    # --- where a unit is

    def _misplaced(self, unit: Candidate) -> Outcome | None:
        """Why it is not known to be in this slot; None where it is, and where nothing on the air could tell."""
        if self.place.several_radios:
            return self._at_another_radio(unit) or self._two_in_slot(unit)
        if self.place.kind == "scan":
            return None
        nearer = [each for each in self.free if self._leads(each, unit)]
        if nearer:
            return NotProven(
                f"{_listed([unit])} was heard, but another unit is nearer: {_listed(nearer)}",
                "see which unit is in the slot, and take the others away",
            )
        return None

    def _at_another_radio(self, unit: Candidate) -> Outcome | None:
        own = self.place.radio
        others = [radio for radio in self.place.radio_names if radio != own]
        if silent := [radio for radio in others if radio not in self.scene.listened]:
            return NotProven(
                f"radio {', '.join(silent)} does not listen, so a unit may be in another slot", "check that radio"
            )
        nearest = max(others, key=lambda radio: (unit.at(radio), radio))
        ahead = unit.at(own) - unit.at(nearest)
        if ahead >= self.margin and unit.reports.get(own, 0) >= ENOUGH_REPORTS:
            return None
        slots = self.place.slots_on(nearest)
        if -ahead >= self.margin and unit.reports.get(nearest, 0) >= ENOUGH_REPORTS:
            said = f"this unit is in {_one_of(slots)}"
            return (
                Elsewhere(slots[0], said) if len(slots) == 1 else NotProven(said, f"put it into slot {self.place.slot}")
            )
        return NotProven(
            f"nothing shows that {unit} is in this slot, and not in {_one_of(slots)}",
            "close the lid, or take the unit in the next slot away, and scan the label again",
        )

    def _two_in_slot(self, unit: Candidate) -> Outcome | None:
        if self.place.kind == "scan":
            return None
        beside = [each for each in self.free if each is not unit and self._is_beside(each, unit)]
        if not beside:
            return None
        return NotProven(f"several units are in the slot: {_listed([unit, *beside])}", "take all but one out")

    def _is_beside(self, other: Candidate, unit: Candidate) -> bool:
        """Whether both are in the slot, as far as it is known: one that is much weaker lies near it."""
        return self._is_here(other) and not self._leads(unit, other, _MUCH)

    def _is_here(self, unit: Candidate) -> bool:
        """Nearer to this slot's radio than to all others."""
        return not self.place.several_radios or self._at_another_radio(unit) is None

    def _is_surely_here(self, unit: Candidate) -> bool:
        """Not a foreign unit that lies near. A radio alone knows that by nothing but the level that the plan wants of the
        unit in its fixture; a unit with the address of the barcode is no foreign one."""
        return unit.address == self.expected.address or self.place.several_radios or unit.at_level

    def _may_be_here(self, unit: Candidate) -> bool:
        """Not surely in another slot."""
        return not (self.place.several_radios and self._is_away(unit))

    def _is_away(self, unit: Candidate) -> bool:
        return any(unit.at(radio) - unit.at(self.place.radio) >= self.margin for radio in self.place.radio_names)

    def _leads(self, one: Candidate, other: Candidate, times: int = 1) -> bool:
        """By the margin, or by so many, at this slot's radio."""
        own = self.place.radio
        ahead = one.at(own) - other.at(own)
        return ahead >= times * self.margin and one.reports.get(own, 0) >= ENOUGH_REPORTS

    def _front(self) -> Candidate | None:
        """The device that is surely the one in the slot: it leads all others, and is nearer here than anywhere else."""
        here = [each for each in self.free if self.place.radio in each.levels]
        if self.place.kind == "scan" or not here or not self._is_here(here[0]):
            return None
        first, rest = here[0], [each for each in here[1:] if self._may_be_here(each)]
        if first.reports.get(self.place.radio, 0) < ENOUGH_REPORTS or not all(
            self._leads(first, each) for each in rest
        ):
            return None
        return None if self.place.several_radios and self._two_in_slot(first) is not None else first

    def _nobody_in_front(self) -> Outcome:
        here = [each for each in self.free if self._may_be_here(each)]
        if not here:
            return self._twin() or Absent("nothing was heard in the slot")
        return NotProven(
            f"nothing shows which unit is in the slot: {_listed(here)}",
            "take all units away but the one in the slot, or close the lid, and scan the label again",
        )

    def _twin(self) -> Outcome | None:
        """A device in this slot that has the address of the unit in another one."""
        claimed = {claim.address: claim.slot for claim in self.scene.claims}
        here = [each for each in self.scene.heard if each.address in claimed and self._is_here(each)]
        if not here or not self.place.several_radios:
            return None
        return NotProven(
            f"the unit in slot {claimed[here[0].address]} has the same address, {here[0].address}",
            "test the two one after the other",
        )

    # --- whom to ask

    def _in_reach(self) -> list[Candidate]:
        """Those that may be in the slot, and those that are in other slots, where a unit may have been put by mistake."""
        if self.place.kind == "scan" and not self.place.several_radios:
            return self.free
        best = max((each.at(self.place.radio) for each in self.free), default=-math.inf)
        near = [each for each in self.free if best - each.at(self.place.radio) < self.margin or best == -math.inf]
        if self.place.kind == "scan":
            near = [each for each in self.free if self._may_be_here(each)]
        away = [each for each in self.free if each not in near and self.place.several_radios and self._is_away(each)]
        return near + away

    def _could_be_meant(self, other: Candidate, unit: Candidate) -> bool:
        """Whether the other one could be in the slot as well as the unit."""
        return self._may_be_here(other) and (self.place.kind == "scan" or not self._leads(unit, other))

    def _next_of(self, units: Sequence[Candidate], *, trusting_hints: bool = False) -> Candidate | None:
        """The one to ask first: by what it told earlier, then by its level."""
        hints, serial = self.scene.hints, self.expected.serial
        unknown = [each for each in units if self._is_open(each)]
        if trusting_hints:
            unknown = [each for each in unknown if hints.get(each.address, serial) == serial]
        ranks = {True: 0, False: 2}
        return min(
            unknown,
            key=lambda each: ranks[hints[each.address] == serial] if each.address in hints else 1,
            default=None,
        )

    def _ask(self, unit: Candidate) -> Ask:
        own = self.place.radio
        return Ask(unit.address, own if own in unit.levels else unit.loudest)

    def _is_open(self, unit: Candidate) -> bool:
        return unit.connectable and unit.address not in self.scene.told

    def _told(self, unit: Candidate) -> Told:
        silent = Told(why="takes no connections: what it advertises says so", connected=unit.connectable)
        return self.scene.told.get(unit.address, Told() if unit.connectable else silent)

    def _answer(self, unit: Candidate) -> str:
        told = self._told(unit)
        return f"tells '{printable(told.serial)}'" if told.serial else told.why or "tells no serial number"

    def _is_another(self, unit: Candidate) -> bool:
        """Whether it keeps an address that is not the one of the barcode."""
        return bool(self.expected.address) and unit.stays and unit.address != self.expected.address


def _failed(told: Told) -> int:
    return 0 if told.connected else 1


def _listed(units: Sequence[Candidate]) -> str:
    return ", ".join(map(str, units[:4])) + (f" and {len(units) - 4} more" if len(units) > 4 else "")


def _one_of(slots: Sequence[str]) -> str:
    return f"slot {slots[0]}" if len(slots) == 1 else f"one of the slots {', '.join(slots)}"
