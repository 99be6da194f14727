"""How the benchmarks measure: in turn, several rounds, the best of each; CPU seconds of this process.

On the virtual clock nothing sleeps, so CPU seconds are what the work takes, whatever else the machine does.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping

import click

Rates = Mapping[str, float]
Clock = Callable[[], float]


def best_in_turn(rounds: int, work: Mapping[str, Callable[[], float]]) -> dict[str, float]:
    """The highest rate that each piece of work reached; every round runs all of them once."""
    best = dict.fromkeys(work, 0.0)
    for _ in range(rounds):
        for name, measure in work.items():
            gc.collect()
            best[name] = max(best[name], measure())
    return best


def print_ratio(what: str, best: Rates, unit: str, aim: float) -> None:
    """Both rates, their ratio and the aim, on one line."""
    (ours_name, ours), (bare_name, bare) = best.items()
    click.echo(
        f"{what}: {ours_name} {ours:,.0f} {unit}, {bare_name} {bare:,.0f} {unit}, ratio {ours / bare:.3f} (aim ≥ {aim})"
    )
