"""A shift, and the history made of its records: both say the same of the units."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from benchrig.figures.capability import capability_of
from benchrig.figures.drift import drift_of
from benchrig.figures.yields import YieldFigure, yields_of
from benchrig.history.filling import fill
from benchrig.history.folders import found
from benchrig.history.opening import History, open_history
from benchrig.history.questions.filters import Filters
from tests.line.floor_kit import Shop, here
from tests.line.units import Unit

__all__ = ["here"]

REFERENCES = (
    "references:\n  golden:\n    label: VFL3-000001\n    slots: any\n"
    "  bad one:\n    label: VFL3-000002\n    fails: read battery level\n    slots: any\n"
)
RULES = "retest: {most: 1, causes: [limit, link]}\nstop: {station_errors: 9, equal_failures: 9}\n"
OWN = {"1": "left", "2": "right"}
SIMULATED = Filters(simulated=True)


def units(here: Path, *made: Unit) -> None:
    for unit in made:
        path = here / "units" / f"{unit.serial}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(unit.text, encoding="utf-8")


def history_of(shop: Shop) -> History:
    """Made of the records that the shift has left."""
    history = open_history(shop.folder / "made.sqlite", make=True)
    assert fill(history, found([shop.results])).is_whole
    return history


def agree(shop: Shop, figure: YieldFigure) -> None:
    """The shift counts units by the journal, the yield by the records."""
    counts = shop.state.counts
    assert (figure.first_pass.passed, figure.first_pass.of) == (counts.passed_first, counts.judged)
    assert sum(each.runs for each in figure.again) == counts.retests


def test_a_shift_and_its_history_count_the_same_units(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml", more=REFERENCES + RULES)
    units(here, Unit(1), Unit(2, battery=20), Unit(42), Unit(43, battery=20), Unit(46, battery=30))
    good, bad, not_proven, absent, repaired = (f"VFL3-0000{number}" for number in (42, 43, 44, 45, 46))
    (here / "units" / f"{not_proven}.yaml").write_text(Unit(77, address=44).text, encoding="utf-8")
    shop.shift(
        "VFL3-000001", "VFL3-000002", good, bad, "RETEST", bad, not_proven, absent, repaired, "REPAIRED", repaired
    )
    with history_of(shop) as history:
        [figure] = yields_of(history, SIMULATED, ("slot", "purpose", "shift"))
        agree(shop, figure)
        assert (figure.first_pass.passed, figure.first_pass.of) == (1, 4)
        assert (figure.final.passed, figure.final.of, figure.units) == (1, 4, 4)
        assert {each.why: each.runs for each in figure.apart} == {"golden unit": 1, "known-bad unit": 1}
        assert [each.name for each in figure.groups["slot"]] == ["1"]


def test_golden_units_are_in_their_drift_and_in_no_capability(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml", more=REFERENCES)
    units(here, Unit(1, battery=99), Unit(2, battery=20), Unit(42, battery=80), Unit(43, battery=81))
    shop.shift("VFL3-000001", "VFL3-000002", "VFL3-000042", "VFL3-000043")
    with history_of(shop) as history:
        [part] = capability_of(history, "read battery level.value", SIMULATED).parts
        assert (part.n, part.capability and (part.capability.minimum, part.capability.maximum)) == (2, (80.0, 81.0))
        [battery] = drift_of(history, SIMULATED, ["read battery level.value"])
        assert (battery.reference, [each.value for each in battery.slots[0].checks]) == ("golden", [99.0])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_any_shift_and_its_history_count_the_same_units(here: Path, seed: int) -> None:
    """Good units and bad ones, absent ones, wrong labels, units that lose their link, tested again in any order."""
    chance = Random(seed)
    shop = Shop(here, unit="units/{serial}.yaml", more=REFERENCES + RULES, slots=chance.choice([("1",), OWN]))
    made = [
        Unit(number, battery=chance.choice([90, 90, 20]), link_ends=chance.choice([0, 0, 0, 3]))
        for number in range(42, 50)
    ]
    units(here, Unit(1), Unit(2, battery=20), *made[:-1])
    wrong = made[chance.randrange(6)]
    (here / "units" / f"{wrong.serial}.yaml").write_text(Unit(77, address=wrong.number).text, encoding="utf-8")
    labels = [unit.serial for unit in chance.choices(made, k=14)]
    said = [word for label in labels for word in (*chance.choice([(), (), ("RETEST",), ("REPAIRED",)]), label)]
    shop.shift("VFL3-000001", "VFL3-000002", *said)
    with history_of(shop) as history:
        [figure] = yields_of(history, SIMULATED, ("slot",))
        agree(shop, figure)
        assert figure.without_first == 0
        assert sum(group.first_pass.of for group in figure.groups["slot"]) == shop.state.counts.judged
