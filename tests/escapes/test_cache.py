"""Results of earlier hunts: what a change of the plan reaches is tried again, and what comes of it is as if all was."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from benchrig.escapes.argued import beside
from benchrig.escapes.cache import Cache
from benchrig.escapes.hunting import Hunting
from benchrig.escapes.launch import HuntOptions, hunted
from benchrig.escapes.results import Result
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from tests.escapes.kit import ALL, HOT, STEPS, WET, hunt, plan_of, written
from tests.run.kit import plan_text

TRIED = {each.name for each in ALL if each.name != "battery: missing"}


def cached(folder: Path, plan: Plan, **how: object) -> tuple[list[Result], int]:
    """What it came to, and how many trials that took."""
    hunted = hunt(folder, plan, **how)
    cache = Cache.of(folder / "cache", hunted)
    hunting = Hunting(hunted, ALL, cache.known(ALL))
    results = hunting.run()
    cache.keep(results)
    return results, hunting.trials


def test_a_change_reaches_what_passed_through_it(tmp_path: Path) -> None:
    plan = plan_of(tmp_path)
    first, trials = cached(tmp_path, plan)
    assert trials == len(TRIED)
    assert cached(tmp_path, plan) == (first, 0)
    # HOT, the one that is blamed wrongly and the missing service are noticed in step 3, before what is changed
    other, trials = cached(tmp_path, plan_of(tmp_path, STEPS.replace("max: 60 %", "max: 80 %")))
    assert trials == len(TRIED) - 3
    assert {each.fault.name: each.outcome for each in other}[WET.name] == "escaped"
    assert {each.fault.name: each.outcome for each in other}[HOT.name] == "caught"
    assert cached(tmp_path, plan_of(tmp_path, "  - read: pressure\n" + STEPS))[1] == len(TRIED)


def test_what_is_left_to_another_plan_is_tried_on_it_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A proof holds for that plan as it is now."""
    line, device = written(tmp_path), RadioChoice("virtual", files=(tmp_path / "device.yaml",))
    nightly = tmp_path / "nightly.yaml"
    beside(line).parent.mkdir()
    beside(line).write_text(
        "plan: plan.yaml\ndevice: device.yaml\n"
        "argued: [{faults: 'pressure: too low', left_to: nightly.yaml, why: a, by: b, date: '2026-11-27'}]\n"
    )
    tried: list[tuple[str, int]] = []
    run = Hunting.run

    def counted(hunting: Hunting) -> list[Result]:
        results = run(hunting)
        tried.append((hunting.hunt.plan.path.name, hunting.trials))
        return results

    def outcome() -> str:
        names = ("pressure: too low",)
        options = HuntOptions(load(line), device, load, names=names, jobs=1, cache=tmp_path / "cache")
        [result] = hunted(options, Unattended()).results
        return result.outcome

    monkeypatch.setattr(Hunting, "run", counted)
    nightly.write_text(plan_text("  - read: pressure\n    expect: {value: {min: 1000 hPa}}\n"))
    assert (outcome(), tried) == ("left", [("plan.yaml", 1), ("nightly.yaml", 1)])
    assert (outcome(), tried[2:]) == ("left", [("plan.yaml", 0), ("nightly.yaml", 0)])
    nightly.write_text(plan_text("  - read: pressure\n    expect: {value: {min: 1 hPa}}\n"))
    assert (outcome(), tried[4:]) == ("escaped", [("plan.yaml", 0), ("nightly.yaml", 1)])


def load(path: Path) -> Plan:
    return load_plan(path, {})


@pytest.mark.parametrize("changed", ["seeds", "device", "whole", "head"])
def test_nothing_else_may_differ(tmp_path: Path, changed: str) -> None:
    plan = plan_of(tmp_path)
    assert cached(tmp_path, plan)[1] == len(TRIED)
    if changed == "device":
        path = tmp_path / "device.yaml"
        path.write_text(path.read_text("utf-8").replace("40 %", "41 %"), encoding="utf-8")
    if changed == "head":
        plan = load_plan(_written(tmp_path, plan_text(STEPS, head="deadline: 1 min\n")), {})
    how: dict[str, object] = {"seeds": {"seeds": (1,)}, "whole": {"whole": True}}.get(changed, {})  # type: ignore[assignment]
    assert cached(tmp_path, plan, **how)[1] == len(TRIED)


def test_a_damaged_file_is_as_none_and_a_plan_with_programs_is_not_kept(tmp_path: Path) -> None:
    plan = plan_of(tmp_path)
    first, _ = cached(tmp_path, plan)
    [path] = (tmp_path / "cache").iterdir()
    path.write_bytes(path.read_bytes()[:-20])
    assert cached(tmp_path, plan) == (first, len(TRIED))
    program = plan_of(tmp_path, STEPS + "  - command: ['true']\n")
    assert cached(tmp_path, program)[1] == cached(tmp_path, program)[1] == len(TRIED)
    assert "runs other code" in Cache.of(tmp_path / "cache", hunt(tmp_path, program)).notes[0]


_READS = ("temperature", "humidity", "pressure")
_LIMITS = {
    "temperature": ("{value: {min: 20 °C, max: 25 °C}}", "{value: {max: 40 °C}}"),
    "humidity": ("{value: {max: 60 %}, elapsed: {max: 1 s}}", "{value: {max: 90 %}}"),
    "pressure": ("{value: {min: 1000 hPa}}", "{value: {min: 800 hPa}}"),
}
# Ways to repeat a step: a round that fails may be allowed, and decides nothing by itself then.
_REPEATED = (
    "repeat: 1",
    "repeat: 3",
    "repeat: 4\n    expect: {failed_share: {max: 50 %}}",
    "repeat: 2\n    expect: {failed: {max: 2}}",
    "repeat: 9\n    sequential: {acceptable: 5 %, rejectable: 60 %, producer_risk: 20 %, consumer_risk: 10 %}",
)


def drawn(chance: random.Random) -> str:
    names = chance.sample(_READS, chance.randint(1, 3))
    steps = [f"  - read: {name}\n    expect: {chance.choice(_LIMITS[name])}\n" for name in names]
    if chance.random() < 0.5:
        inner = "".join(f"    {line}\n" for line in steps[-1].splitlines())
        steps[-1] = f"  - {chance.choice(_REPEATED)}\n    steps:\n{inner}"
    return "".join(steps)


def edited(steps: str, chance: random.Random) -> str:
    """Another limit somewhere, a step more at the end, or another plan."""
    name = chance.choice(_READS)
    one, other = _LIMITS[name]
    return chance.choice(
        [steps.replace(one, other), steps.replace(other, one), steps + f"  - read: {name}\n", drawn(chance)]
    )


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(1, 20))])
def test_after_any_edits_it_is_as_if_all_was_tried(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    steps = drawn(chance)
    for _ in range(3):
        plan = plan_of(tmp_path, steps)
        kept, _ = cached(tmp_path, plan)
        assert kept == Hunting(hunt(tmp_path, plan), ALL).run()
        steps = edited(steps, chance)


def _written(folder: Path, text: str) -> Path:
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    return path


_MOST = "given: {most: {}}\nsteps:\n  - read: temperature\n    expect: {value: {max: '${most}'}}\n"
_SENT = "  - write: temperature\n    file: sent.bin\n  - read: temperature\n    expect: {value: {max: 25 °C}}\n"


def test_what_a_step_means_is_more_than_what_is_written_in_it(tmp_path: Path) -> None:
    """A parameter of a file of steps, and the bytes of a file that a step sends."""
    (tmp_path / "part.yaml").write_text(_MOST, encoding="utf-8")
    for most, trials, outcome in (("25 °C", 7, "caught"), ("25 °C", 0, "caught"), ("40 °C", 7, "escaped")):
        plan = plan_of(tmp_path, f"  - use: part.yaml\n    with: {{most: {most}}}\n")
        results, tried = cached(tmp_path, plan)
        assert (tried, {each.fault.name: each.outcome for each in results}[HOT.name]) == (trials, outcome)
    for tenths, trials in ((200, 7), (200, 0), (210, 7)):
        (tmp_path / "sent.bin").write_bytes((tenths * 10).to_bytes(2, "little"))
        assert cached(tmp_path, plan_of(tmp_path, _SENT))[1] == trials


def test_a_file_that_the_run_names_may_be_any(tmp_path: Path) -> None:
    (tmp_path / "sent.bin").write_bytes(bytes(2))
    named = "  - compute: {named: sent.bin}\n    save: {named: named}\n" + _SENT.replace("sent.bin", "'${named}'")
    plan = plan_of(tmp_path, named)
    assert "names" in Cache.of(tmp_path / "cache", hunt(tmp_path, plan)).notes[0]
