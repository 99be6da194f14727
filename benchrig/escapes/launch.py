"""One hunt from options to what it came to: devices, faults, the sound device first, arguments."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchrig.errors import UsageError
from benchrig.escapes.argued import Argued, beside, load_argued
from benchrig.escapes.arguing import Arguing
from benchrig.escapes.cache import Cache
from benchrig.escapes.coverage import coverage_of
from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.planned import limits_of
from benchrig.escapes.results import FORMAT, Hunted, Told, versions
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.registry import fault_named, faults_of, pairs
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.run.head import planned_requirements
from benchrig.source.problem import Problems
from benchrig.steps.bench import Operator
from benchrig.workers import cores


@dataclass(frozen=True)
class HuntOptions:
    """`loads` gives the plan of a file with the values of this run: for plans that escapes are left to."""

    plan: Plan
    radio: RadioChoice
    loads: Callable[[Path], Plan]
    families: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    pairs: int = 0
    seed: int = 0
    seeds: int = 1
    whole: bool = False
    jobs: int = field(default_factory=cores)
    argued: Path | None = None
    cache: Path | None = None

    @property
    def takes_all(self) -> bool:
        """Whether every fault of the device is tried, alone."""
        return not (self.families or self.names or self.pairs)


def sound_scene(radio: RadioChoice) -> Scene:
    """The devices of a virtual radio as they should be. PlanError; UsageError for another radio, and without a device."""
    return Scene(simulated_devices(radio, "broken"), air=radio.air)


def simulated_devices(radio: RadioChoice, meant: str) -> tuple[Simulated, ...]:
    """Those of a virtual radio, of which one at least can be connected to; `meant` says what is to be done with it."""
    from benchrig.radio.virtual import load_devices
    from benchrig.radio.virtual.device_spec import DeviceSpec

    if radio.kind != "virtual" or radio.ports:
        raise UsageError(f"only a simulated device can be {meant}", advice="write --radio virtual:FILE, without --port")
    problems = Problems()
    devices = load_devices(radio.files, problems, any_air=radio.air is not None)
    problems.raise_if_any()
    if not any(isinstance(each, DeviceSpec) for each in devices):
        raise UsageError(
            "the device files have no device that can be connected to", advice="name the file of the unit first"
        )
    return tuple(devices)


def chosen_faults(options: HuntOptions, sound: Scene) -> list[Fault]:
    """UsageError for a name that is none, and where there is no fault to try."""
    limits = limits_of(options.plan, sound.unit)
    if options.names:
        return [fault_named(sound, name, limits=limits) for name in dict.fromkeys(options.names)]
    if options.pairs:
        found = pairs(sound, options.pairs, options.seed, limits=limits)
    else:
        found = faults_of(sound, families=options.families, limits=limits)
    if not found:
        raise UsageError("there is no fault of this kind for this device", advice="list all faults with --list")
    return found


def hunted(
    options: HuntOptions,
    operator: Operator,
    told: Callable[[int], Told] = lambda count: lambda result: None,
) -> Hunted:
    """What the plan makes of each fault. `told` is given how many there are, and gives what takes each result. Raises
    NotSound where the sound device does not pass."""
    sound = sound_scene(options.radio)
    argued, notes = _argued(options)
    faults = chosen_faults(options, sound)
    seeds = tuple(range(options.seed, options.seed + options.seeds))
    hunt = Hunt(options.plan, sound, operator, seeds, options.whole, options.jobs)
    loads = functools.cache(options.loads)
    for path in _left_to(argued, faults):
        loads(path)
    hunt.prove()
    cache = Cache.of(options.cache, hunt)
    hunting = Hunting(hunt, faults, cache.known(faults), told(len(faults)))
    results = hunting.run()
    cache.keep(results)
    takes_all = options.takes_all and not hunting.interrupted
    arguing = Arguing(hunt, argued, loads, all_faults=takes_all, cache=options.cache)
    if not hunting.interrupted:
        results = arguing.over(results, {each.name: each for each in faults})
    made = _head(options, hunt, len(faults))
    made.results, made.interrupted = results, hunting.interrupted or arguing.interrupted
    if options.takes_all and not made.interrupted:
        made.coverage = coverage_of(made.nodes, planned_requirements(options.plan), results)
    made.stale, made.notes = arguing.stale, [*notes, *cache.notes, *arguing.notes]
    return made


def _argued(options: HuntOptions) -> tuple[Argued | None, list[str]]:
    """The arguments of the file that was named, or of the one beside the plan where that is about this device."""
    plan, named = options.plan.path, options.argued
    path = named or beside(plan)
    if named is None and not path.is_file():
        return None, []
    argued = load_argued(path, plan)
    if argued.device.resolve() in [each.resolve() for each in options.radio.files]:
        return argued, []
    sentence = f"{path} argues for {argued.device.name}, not for {options.radio}"
    if named is not None:
        raise UsageError(sentence, advice="name the file for this device, or leave --argued out")
    return None, [f"{sentence}: nothing in it counts here"]


def _left_to(argued: Argued | None, faults: Sequence[Fault]) -> Iterator[Path]:
    """The plans that escapes may be left to: what is wrong with one is told before anything is tried."""
    for entry in argued.entries if argued else ():
        if entry.left_to and any(entry.faults.fit(fault.name) for fault in faults):
            assert argued is not None
            yield argued.plan.parent / entry.left_to


def _head(options: HuntOptions, hunt: Hunt, asked: int) -> Hunted:
    plan = options.plan
    return Hunted(
        **tried(FORMAT, plan, options.radio, hunt.sound.unit.name, options.radio.air or ""),
        seeds=[*hunt.seeds],
        versions=versions(),
        nodes=[node.planned() for node in plan.nodes],
        asked=asked,
        whole=hunt.whole,
    )


def tried(form: int, plan: Plan, radio: RadioChoice, device: str, air: str) -> dict[str, Any]:
    """The fields of Tried."""
    return {
        "format": form,
        "plan": plan.name,
        "plan_file": str(plan.path),
        "plan_hash": plan.hash,
        "revision": plan.revision,
        "device": device,
        "device_files": [str(each) for each in radio.files],
        "device_hash": hash_of(radio.files),
        "air": air,
        "limit_set": plan.limit_set,
    }


def hash_of(files: tuple[Path, ...]) -> str:
    """SHA-256 over the device files."""
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.read_bytes())
    return digest.hexdigest()
