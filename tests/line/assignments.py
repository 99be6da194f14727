"""Units, levels and slots drawn at random, and an oracle that knows what is where: no unit may get another's result.

`python -m tests.line.assignments COUNT SEED` works at COUNT lines, one after the other, and prints what is wrong with any
of them: the seed of that line alone draws it again.
"""

from __future__ import annotations

import asyncio
import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from benchrig.line.events import UnitBegan
from benchrig.record.model import Record
from tests.line.kit import Shift, Test, Worked, worked
from tests.line.units import Unit, plan_text, several, station_text
from tests.run.kit import run as run_alone
from tests.scratch import scratch

LAYOUTS = {
    "one slot": {"1": ""},
    "shared": {"1": "", "2": "", "3": "", "4": ""},
    "own": {"1": "a", "2": "b", "3": "c", "4": "d"},
    "own two": {"1": "a", "2": "b"},
    "pairs": {"1": "a", "2": "a", "3": "b", "4": "b"},
    "three and one": {"1": "a", "2": "a", "3": "a", "4": "b"},
}
BARCODES = {
    "serial": r"(?P<serial>VFL3-\d{6})",
    "serial and address": r"(?P<serial>VFL3-\d{6}) (?P<address>(?:[0-9A-F]{2}:){5}[0-9A-F]{2})",
    "address": r"(?P<address>(?:[0-9A-F]{2}:){5}[0-9A-F]{2})",
    "neither": r"LOT-\d{6}",
}
RULES = "retest: {most: 3, causes: [link, device, limit]}\nstop: {station_errors: 100, equal_failures: 100}\n"
APART, MARGIN, SLACK = 30, 10, 8
TWISTS = (
    "swapped", "absent", "wrong label", "doubled serial", "doubled address", "clone", "two in slot", "pulled", "replaced",
    "late", "forgotten", "no serial", "silent",
)  # fmt: skip


@dataclass
class Thing:
    """A physical unit with the label on it. It is put into `place`, and its label is scanned for `slot`; `mate` is in the
    place too. `does` is what is wrong about it or done to it."""

    unit: Unit
    label: str
    slot: str
    place: str
    does: str = ""
    mate: Unit | None = None
    word: str = ""  # scanned before its label
    shown: str = ""  # on the screen when it was taken out

    @property
    def is_silent(self) -> bool:
        """It advertises another name than the plan selects, now or when it was drawn."""
        return self.unit.name != Unit(0).name

    @property
    def is_there(self) -> bool:
        return self.does != "absent"

    @property
    def text(self) -> str:
        return several(self.unit, self.mate) if self.mate else self.unit.text


@dataclass
class Case:
    """A line and what is done at it. A round fills slots; all things of a round are tested beside each other."""

    seed: int
    slots: dict[str, str]
    barcode: str
    air: str
    serial_step: str
    links: int
    nearby: list[Unit] = field(default_factory=list)
    rounds: list[list[Thing]] = field(default_factory=list)

    def scans(self, slot: str) -> bool:
        """Whether its units are released by their labels: it shares its radio."""
        return len(self.slots) > 1 and sum(radio == self.slots[slot] for radio in self.slots.values()) > 1

    @property
    def things(self) -> list[Thing]:
        return [thing for each in self.rounds for thing in each]

    def __str__(self) -> str:
        said = [
            f"case {self.seed}: {len(self.slots)} slots on {sorted(set(self.slots.values()))}, barcode {self.barcode}"
        ]
        said.append(
            f"air {self.air or 'kind'}, {self.links} links, plan and serial number: {self.serial_step or 'nothing'}"
        )
        said += [f"nearby: {_shown(unit)}" for unit in self.nearby]
        for number, each in enumerate(self.rounds):
            said += [
                f"round {number}: '{thing.label}' for slot {thing.slot} in {thing.place}: {_shown(thing.unit)} "
                f"{thing.word} {thing.does}" + (f", with {_shown(thing.mate)}" if thing.mate else "")
                for thing in each
            ]
        return "\n  ".join(said)


def _shown(unit: Unit) -> str:
    return f"M{unit.mark} {unit.serial} {unit.at} {unit.rssi} dBm battery {unit.battery} ends {unit.link_ends:g}"


def label_of(unit: Unit, barcode: str) -> str:
    return {
        "serial": unit.serial,
        "serial and address": f"{unit.serial} {unit.at}",
        "address": unit.at,
        "neither": f"LOT-{int(unit.mark):06d}",
    }[barcode]


# --- drawing


class Drawing:
    """Of one case."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(f"assignment {seed}")
        self.numbers = iter(self.rng.sample(range(1, 999_999), 200))
        slots = LAYOUTS[self.rng.choice([*LAYOUTS])]
        shares = len(set(slots.values())) < len(slots)
        barcode = self.rng.choices([*BARCODES], [6, 4, 1, 0 if shares else 2])[0]
        self.case = Case(
            seed,
            slots,
            barcode,
            self.rng.choice(["", "", "rough"]),
            self.rng.choices(["equals", "read", ""], [6 if "serial" in barcode else 0, 3, 1])[0],
            self.rng.choice([1, 1, 2, 4]),
        )

    def unit(self) -> Unit:
        rng = self.rng
        number = next(self.numbers)
        return Unit(
            number,
            mark=str(number),
            battery=rng.choice([90, 90, 90, 20]),
            rssi=rng.randint(-68, -38),
            spread=rng.choice([0.0, 2.0, 4.0]),
            link_ends=rng.choice([0.0] * 9 + [0.2]),
            interval=rng.choice([50, 100]),
        )

    def twin(self, unit: Unit, what: str) -> Unit:
        """Another unit that is called as this one."""
        other = self.unit()
        number = other.number if what == "doubled address" else unit.number
        at = other.number if what == "doubled serial" else unit.address or unit.number
        return replace(other, number=number, address=at)

    def label(self, unit: Unit) -> str:
        return label_of(unit, self.case.barcode)

    def drawn(self) -> Case:
        for _ in range(self.rng.choice([1, 2, 2, 3])):
            self.case.rounds.append(self.round())
        strangers = {one.at: one for one in (self.stranger() for _ in range(self.rng.choice([0, 0, 0, 1, 2])))}
        self.case.nearby += strangers.values()
        return self.case

    def round(self) -> list[Thing]:
        rng = self.rng
        used = [slot for slot in self.case.slots if rng.random() < 0.85] or ["1"]
        rng.shuffle(used)
        again = self.again(used)
        slots = used[len(again) :]
        things = [Thing(unit, self.label(unit), slot, slot) for unit, slot in ((self.unit(), slot) for slot in slots)]
        for thing in things:
            if rng.random() < 0.4:
                self.twist(thing, things)
        return [*again, *things]

    def again(self, used: list[str]) -> list[Thing]:
        """Units of earlier rounds, tested once more: with the word for it, or without."""
        before = [thing for thing in self.case.things if thing.is_there]
        if not before or self.rng.random() < 0.6:
            return []
        old = self.rng.choice(before)
        word = self.rng.choice(["RETEST", "RETEST", "REPAIRED", ""])
        changes = {"battery": 90, "link_ends": 0.0} if word == "REPAIRED" else {}
        return [Thing(old.unit.but(**changes), old.label, used[0], used[0], word=word)]

    def twist(self, thing: Thing, things: list[Thing]) -> None:
        rng = self.rng
        # a label that says nothing of its unit cannot be in the wrong place
        thing.does = does = rng.choice(TWISTS[1:] if self.case.barcode == "neither" else TWISTS)
        other = rng.choice(things)
        if does == "swapped":
            thing.place, other.place = other.place, thing.place
        elif does == "wrong label":
            thing.label = self.label(rng.choice([other.unit, self.unit()]))
        elif does in ("doubled serial", "doubled address", "clone") and other is not thing:
            other.unit, other.does = self.twin(thing.unit, does), other.does or does
            if rng.random() < 0.7:
                other.label = self.label(other.unit)
        elif does == "two in slot":
            mate = rng.choice([self.unit(), self.twin(thing.unit, "doubled serial")])
            thing.mate = mate.but(rssi=rng.choice([mate.rssi, thing.unit.rssi, thing.unit.rssi + 20]))
        elif does == "no serial":
            thing.unit = thing.unit.but(tells_serial=False)
        elif does == "silent":
            thing.unit = thing.unit.but(more="", name="XX")

    def stranger(self) -> Unit:
        """On the air beside the slots: of the same product, and perhaps with the serial number of one of them."""
        rng = self.rng
        thing = rng.choice(self.case.things)
        unit = rng.choice(
            [self.unit(), self.twin(thing.unit, rng.choice(["doubled serial", "doubled address", "clone"]))]
        )
        return unit.but(rssi=rng.choice([-90, -80, -70, -50, -30]))


def drawn(seed: int) -> Case:
    return Drawing(seed).drawn()


# --- working at it


class Operator:
    """Puts in, scans, waits, takes out."""

    def __init__(self, case: Case, shift: Shift) -> None:
        self.case, self.shift = case, shift
        self.rng = random.Random(f"operator {case.seed}")

    async def work(self) -> None:
        for each in self.case.rounds:
            await self.round(each)

    async def round(self, things: list[Thing]) -> None:
        for thing in things:
            if thing.does not in ("absent", "late"):
                self.shift.put(thing.place, thing.text)
        async with asyncio.TaskGroup() as group:
            for thing in things:
                await self.scan(thing)
                if thing.does in ("late", "pulled", "replaced"):
                    group.create_task(self.handle(thing))
        await self.shift.at_rest()
        for thing in things:
            await self.take_out(thing)

    async def scan(self, thing: Thing) -> None:
        if thing.word:
            await self.shift.scan(thing.word)
        await self.shift.scan(f"SLOT {thing.slot}", thing.label)
        await asyncio.sleep(self.rng.choice([0.0, 0.3, 2.0]))

    async def handle(self, thing: Thing) -> None:
        """What is done while it is tested."""
        await asyncio.sleep(self.rng.uniform(0.1, 4.0))
        if thing.does == "late":
            self.shift.put(thing.place, thing.text)
        elif thing.does == "pulled":
            self.shift.put(thing.place, None)
        else:
            self.shift.put(thing.place, replacement(thing).text)

    async def take_out(self, thing: Thing) -> None:
        is_its = (
            self.shift.slot(thing.slot).serial in thing.label.split()
        )  # not of a unit of before: this label was refused
        if is_its and self.case.scans(thing.slot) and self.shift.slot(thing.slot).release:
            await self.shift.scan(thing.label)
        slot = self.shift.slot(thing.slot)
        # what is held back is given to nobody, once another label is scanned for that slot or the shift ends
        thing.shown = "" if not is_its else "STOP" if slot.release else slot.word
        if thing.does != "forgotten":
            self.shift.put(thing.place, None)


def replacement(thing: Thing) -> Unit:
    """Put in where this one was: of the same names, and the opposite of it."""
    return thing.unit.but(mark=f"{thing.unit.mark}9", battery=20 if thing.unit.is_good else 90, link_ends=0.0)


# --- judging the line


@cache
def alone(unit: Unit, label: str, serial_step: str, air: str) -> str:
    """The verdict of this unit where nothing else is on the air."""
    given = {"serial": label.split()[0]} if serial_step == "equals" else {}
    return run_alone(plan_text(serial_step=serial_step), unit.text, given=given, air=air or None).record.verdict


class Judge:
    """What is wrong with what a line did in a case."""

    def __init__(self, case: Case, done: Worked) -> None:
        self.case, self.done = case, done
        self.wrong: list[str] = []
        self.counts: Counter[str] = Counter()
        self.judged: list[tuple[Thing, Test]] = []

    def look(self) -> Judge:
        things = [thing for thing in self.case.things if thing.shown]  # of the others the label was refused
        for test in self.done.tests:
            thing = next((each for each in things if _fits(each, test.began)), None)
            if thing is None:
                self.say(test, "nobody scanned this label for this slot")
                continue
            things.remove(thing)
            self.test(thing, test)
        if self.done.exit_code not in (0, 7):
            self.wrong.append(f"the line ended with code {self.done.exit_code}")
        return self

    def test(self, thing: Thing, test: Test) -> None:
        word = self.word(thing, test)
        self.counts[word] += 1
        answered = set(marks(test.record)) if test.record else set()
        if word != "STOP":
            self.verdict(thing, test, answered)
            self.judged.append((thing, test))
        elif self.is_plain(thing):
            self.say(test, f"a plain unit was not judged: {test.ended.message}")
        if word == "PASS" and not answered:
            self.say(test, "a unit passed that did not answer")

    def word(self, thing: Thing, test: Test) -> str:
        """What its operator read; a label on two units takes back what was on record already."""
        if thing.shown not in (test.ended.word, "STOP"):
            self.say(test, f"the screen said '{thing.shown}'")
        return thing.shown

    def verdict(self, thing: Thing, test: Test, answered: set[str]) -> None:
        word, unit = self.word(thing, test), thing.unit
        own = {unit.mark}
        if strange := answered - own:
            self.counts["another answered"] += 1
            if strange <= self.clones(thing):
                return
            told = (test.ended.proof, test.ended.message)
            named = test.ended.step == "the serial number" or any("serial number 'VFL3" in text for text in told)
            named = named and self.has_double_address(thing)
            # who has the serial number of the label, and another address than it says, fails under that label
            named = named or ("its label says" in test.ended.proof and strange <= self.namesakes(thing))
            if word == "FAIL" and (named or strange <= self.instead(thing)):
                return
            self.say(test, f"M{unit.mark} got the result of {strange}")
        expected = self.expected(thing)
        if word == "PASS" and expected != "PASS":
            self.say(test, f"passed, and alone it is {expected}")
        if word == "FAIL" and expected == "PASS" and not self.may_fail(thing):
            self.say(test, f"failed, and alone it passes: {test.ended.cause} {test.ended.step} {test.ended.message}")
        if word == "PASS" and not self.case.scans(thing.slot) and thing.place != thing.slot:
            self.say(test, "passed in a slot that it is not in")
        if word == "PASS" and (twin := self.twin_before(thing)) is not None:
            self.say(test, f"passed, and M{twin.unit.mark} with its serial number or address was judged before")

    def clones(self, thing: Thing) -> set[str]:
        """Those that are the unit of the label as well, for all that the line can ask: its plan, the air, the barcode."""
        unit, barcode = thing.unit, self.case.barcode
        gone = thing.is_silent or thing.does in ("absent", "late", "pulled", "replaced", "no serial")
        found = set()
        for other in self.others(thing):
            same, at = other.serial == unit.serial, other.at == unit.at
            louder = self.level(other, thing) - unit.rssi >= MARGIN - SLACK and len(self.case.slots) == 1
            louder = louder or (other == thing.mate and other.rssi - unit.rssi >= MARGIN - SLACK)
            is_meant = barcode == "neither" or thing.label == label_of(other, barcode)
            blind = not self.case.serial_step or "serial" not in barcode
            # labels in a ring, each scanned: nothing but labels tells which of these units is taken out
            ring = self.case.scans(thing.slot) and any(each.label == self.label(unit) for each in self.case.things)
            # its mate has the serial number of the label as well, and its own address is that of a unit in another slot
            hidden = other == thing.mate and any(one != other and one.at == unit.at for one in self.others(thing))
            if (same and at) or (at and blind) or (is_meant and (gone or louder or ring or hidden)):
                found.add(other.mark)
        return found

    def label(self, unit: Unit) -> str:
        return label_of(unit, self.case.barcode)

    def instead(self, thing: Thing) -> set[str]:
        """What is in its slot in its place, and fails there: to the line its label is the wrong one."""
        if self.case.scans(thing.slot) or thing.place == thing.slot:
            return set()
        return {each.unit.mark for each in self.beside(thing) if each.place == thing.slot}

    def beside(self, thing: Thing) -> list[Thing]:
        """All things of its round."""
        return next(each for each in self.case.rounds if any(one is thing for one in each))

    def namesakes(self, thing: Thing) -> set[str]:
        """Those with the serial number of its label."""
        return {other.mark for other in self.others(thing) if other.serial in thing.label.split()}

    def has_double_address(self, thing: Thing) -> bool:
        """Whether another one answers where it is asked for."""
        return any(other.at == thing.unit.at for other in self.others(thing))

    def expected(self, thing: Thing) -> str:
        """What this unit with this label is."""
        case, unit = self.case, thing.unit
        if thing.is_silent and self.has_double_address(thing):
            return "PASS" if thing.unit.is_good else "FAIL"  # the other one says its name for it
        if not thing.is_there or thing.is_silent:
            return "FAIL"
        if case.barcode != "neither" and thing.label != label_of(unit, case.barcode):
            return "FAIL"
        verdict = alone(unit, thing.label, case.serial_step, case.air)
        return "PASS" if verdict == "pass" else "FAIL"

    def may_fail(self, thing: Thing) -> bool:
        """A good unit that was pulled out, that has the name of another one, that did not tell who it is."""
        if thing.does in ("pulled", "replaced", "late", "absent", "two in slot", "no serial"):
            return True
        return any(_are_twins(thing.unit, other) for other in self.others(thing))

    def twin_before(self, thing: Thing) -> Thing | None:
        """One that was judged before and shares one of both names with this one, as far as the runs have read them."""
        unit = thing.unit
        if not self.case.serial_step or self.case.barcode == "neither":
            return None
        for other, test in self.judged:
            same, at = other.unit.serial == unit.serial, other.unit.at == unit.at
            if same != at and test.ended.address and other.unit.tells_serial and unit.tells_serial:
                return other
        return None

    def is_plain(self, thing: Thing) -> bool:
        """Whether nothing about it is odd: its station has to judge it."""
        if thing.does or thing.place != thing.slot or not thing.is_there or self.case.barcode == "address":
            return False
        if self.case.barcode != "neither" and thing.label != label_of(thing.unit, self.case.barcode):
            return False
        if thing.is_silent or not self.case.serial_step or thing.unit.link_ends or not thing.unit.tells_serial:
            return False
        others = self.others(thing)
        if any(_are_twins(thing.unit, other) for other in others):
            return False
        if any(each.label == thing.label and each.unit != thing.unit for each in self.case.things):
            return False
        if any(each.does in ("swapped", "two in slot", "replaced", "forgotten", "late") for each in self.case.things):
            return False
        if self.case.scans(thing.slot):
            return not self.case.nearby and all(self.is_in_order(each) for each in self.case.things)
        return all(thing.unit.rssi - self.level(other, thing) >= MARGIN + SLACK for other in others)

    def is_in_order(self, thing: Thing) -> bool:
        """Whether it is surely proven, or never on the air: what is neither holds back the words of those beside it."""
        ordinary = thing.does in ("", "absent", "silent") and not thing.unit.link_ends
        return ordinary and thing.label == self.label(thing.unit)

    def level(self, other: Unit, thing: Thing) -> float:
        """At most so loud is another unit where this one is tested."""
        places = {each.place for each in self.case.things if each.unit == other}
        radios = {self.case.slots[place] for place in places}
        is_apart = radios and self.case.slots[thing.slot] not in radios
        return other.rssi - (APART if is_apart else 0)

    def others(self, thing: Thing) -> list[Unit]:
        """All that is on the air at any time of the case and is another thing."""
        found = [*self.case.nearby]
        for each in self.case.things:
            found += [each.unit] if each.unit.mark != thing.unit.mark else []
            found += [each.mate] if each.mate else []
            found += [replacement(each)] if each.does == "replaced" else []
        return found

    def say(self, test: Test, what: str) -> None:
        ended = test.ended
        self.wrong.append(f"'{test.began.barcode}' in slot {test.began.slot}: {ended.word} ({ended.proof}): {what}")


def _fits(thing: Thing, began: UnitBegan) -> bool:
    return (thing.label, thing.slot) == (began.barcode, began.slot)


def _are_twins(one: Unit, other: Unit) -> bool:
    return one.mark != other.mark and (one.serial == other.serial or one.at == other.at)


def marks(record: Record) -> Iterator[str]:
    """Who has answered in this run."""
    for execution in record.steps:
        if execution.planned.name in ("who begins", "who ends"):
            yield from (
                str(reading.value).removeprefix("M") for reading in execution.readings if reading.name == "value"
            )


def judged(seed: int) -> Judge:
    """A case drawn, worked at and looked at."""
    case = drawn(seed)
    with scratch() as folder:
        return Judge(case, work(case, folder)).look()


def work(case: Case, folder: Path) -> Worked:
    if case.nearby:
        named = [unit.but() for unit in case.nearby]
        (folder / "nearby.yaml").write_text(several(*named), encoding="utf-8")
    station = station_text(
        case.slots, apart=APART, air=case.air, barcode=BARCODES[case.barcode], more=RULES,
        nearby="nearby.yaml" if case.nearby else "", links=case.links,
    )  # fmt: skip
    plan = plan_text(serial_step=case.serial_step)
    return worked(folder, lambda shift: Operator(case, shift).work(), station=station, plan=plan, seed=case.seed)


def main(count: int, first: int) -> int:
    counts: Counter[str] = Counter()
    bad = 0
    for seed in range(first, first + count):
        try:
            judge = judged(seed)
        except Exception as error:
            bad += 1
            print(f"{drawn(seed)}\n  BROKE: {type(error).__name__}: {error}", flush=True)
            continue
        counts += judge.counts
        if judge.wrong:
            bad += 1
            print("\n  ".join([str(judge.case), *(f"WRONG: {each}" for each in judge.wrong)]), flush=True)
    print(f"{count} lines, {bad} of them wrong: {dict(counts)}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2])))
