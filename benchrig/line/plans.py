"""What a unit is tested with: the plan and the limit set of its product, with the values of its barcode."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.line.barcode import Match, read
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.source.problem import suggest
from benchrig.station.station import Station
from benchrig.text.escape import plain

# Paths of a station file are seen from the current folder.
HERE = Path()
# Groups of a barcode that say which unit it is, also where the plan does not ask for them.
IDENTITY = ("serial", "address")


@dataclass(frozen=True)
class PlanFiles:
    """As the station file names them; `limits` is '' without a limit set."""

    plan: str
    limits: str = ""


def files_for(station: Station, product: str, reference: str = "") -> PlanFiles:
    """Those of a product; a golden unit may have a limit set of its own."""
    of = station.products[product]
    own = station.references[reference].limits if reference else ""
    return PlanFiles(of.plan, own or of.limits)


def files_of(station: Station, products: Collection[str] = ()) -> list[PlanFiles]:
    """Those of all products, or of these, and of the units that check the station with them; each once. UsageError for a
    product that the station does not have."""
    for name in products:
        if name not in station.products:
            raise UsageError(
                f"the station '{plain(station.station)}' has no product '{plain(name)}'",
                advice=suggest(name, station.products) or "write it under products: of the station file",
            )
    chosen = products or station.products
    own = [files_for(station, product, name) for name, product in references_of(station) if product in chosen]
    return [*dict.fromkeys([*(files_for(station, name) for name in chosen), *own])]


def references_of(station: Station) -> list[tuple[str, str]]:
    """The units that check the station, each with the product whose barcode its label has; those without one left out."""
    read_labels = [(name, read(station, each.label)) for name, each in station.references.items()]
    return [(name, match.product) for name, match in read_labels if isinstance(match, Match)]


def load(
    station: Station,
    folder: Path,
    files: PlanFiles,
    values: Mapping[str, str] | None,
    seed: int | None = None,
    unknown: Collection[str] = (),
) -> Plan:
    """The plan of a run, with its limit set; files are seen from `folder`, as a rule the current one. `values` are those of the
    run, None where they are not known yet, `unknown` the names of those that its barcode will give. PlanError, MissingGiven, StationError for what is forbidden."""
    limits = folder / files.limits if files.limits else None
    return load_plan(folder / files.plan, values, seed=seed, forbid=station.forbid, limits=limits, unknown=unknown)


def values_for(station: Station, product: str, of_barcode: Mapping[str, str], asked: Collection[str]) -> dict[str, str]:
    """The given values of a run: what the station says, what its product says instead, what the barcode says, as far as the plan
    has `asked` for it. A group that it does not ask for stays, but for those of the identity: nothing of a label is lost."""
    known = {name: value for name, value in station.given.items() if name in asked}
    known |= station.products[product].given
    return known | {name: value for name, value in of_barcode.items() if name in asked or name not in IDENTITY}
