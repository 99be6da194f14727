"""The head of the page: what was tried, how, and how many faults came to what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from xml.etree import ElementTree as ET

from benchrig.escapes.results import OUTCOMES, Hunted, Outcome, Result
from benchrig.escapes.telling import share_words
from benchrig.faults.fault import WEIGHTS
from benchrig.html.elements import el
from benchrig.html.parts import facts, row, section, table
from benchrig.source.problem import counted


def head(hunted: Hunted, on: datetime) -> ET.Element:
    sub = el("p", f"Faulty units of {hunted.device} that this plan passes", class_="sub")
    return el("header", el("h1", hunted.plan), sub, facts(_facts(hunted, on)))


def counts(hunted: Hunted) -> ET.Element:
    share = el("p", share_words(hunted), class_="share")
    interrupted = [_interrupted(hunted)] if hunted.interrupted else []
    weights: dict[str, list[Result]] = {
        weight: [each for each in hunted.results if each.fault.weight == weight] for weight in WEIGHTS
    }
    families: dict[str, list[Result]] = {}
    for each in sorted(hunted.results, key=lambda each: each.fault.family):
        families.setdefault(each.fault.family, []).append(each)
    tables = el("div", _counts("weight", weights, hunted), _counts("family", families, hunted), class_="beside")
    return section("What became of the faults", share, *interrupted, tables, id_="counts")


def _counts(name: str, groups: Mapping[str, list[Result]], hunted: Hunted) -> ET.Element:
    present = [outcome for outcome in OUTCOMES if hunted.counts[outcome]]
    rows = [_row(word, found, present) for word, found in groups.items() if found]
    rows.append(_row("all", hunted.results, present))
    return table(f"Faults by {name}", (name, "faults", *present), rows, numbers=("faults", *present))


def _interrupted(hunted: Hunted) -> ET.Element:
    words = f"INTERRUPTED: {len(hunted.results)} of {counted(hunted.asked, 'fault')} tried"
    return el("p", el("strong", words))


def _row(name: str, results: list[Result], outcomes: list[Outcome]) -> ET.Element:
    numbers = (sum(each.outcome == outcome for each in results) for outcome in outcomes)
    return row(name, len(results), *numbers, class_="sum" if name == "all" else "")


def _facts(hunted: Hunted, on: datetime) -> Iterator[tuple[str, str]]:
    yield "plan", f"{hunted.plan_file}{f', revision {hunted.revision}' if hunted.revision else ''}"
    yield "hash of the plan", hunted.plan_hash
    if (limits := hunted.limit_set) is not None:
        yield "limit set", f"{limits.name}, version {limits.version} ({limits.file})"
    yield "device", f"{hunted.device} ({', '.join(hunted.device_files)})"
    yield "hash of the device", hunted.device_hash
    yield "air", hunted.air
    first, last = hunted.seeds[0], hunted.seeds[-1]
    yield ("seeds" if last > first else "seed"), f"{first} to {last}" if last > first else str(first)
    yield "runs", "on to the end" if hunted.whole else "ended at the first step that did not pass"
    yield "versions", ", ".join(f"{name} {version}" for name, version in hunted.versions.items())
    yield "date", on.isoformat(" ", "minutes")
