"""`python -m tests.benchmarks.compare PYTHON PYTHON -- WORDS…`: what `benchrig WORDS` takes in two installations, in CPU
seconds, in turn, the best of several. The second one's share of the first is what a change has come to."""

from __future__ import annotations

import click

from tests.benchmarks.commands import cpu_of


@click.command()
@click.argument("pythons", nargs=2, metavar="PYTHON PYTHON")
@click.argument("words", nargs=-1, required=True)
@click.option("--rounds", default=7, show_default=True)
def compare(pythons: tuple[str, str], words: tuple[str, ...], rounds: int) -> None:
    """Compare `PYTHON -m benchrig WORDS` of two installations."""
    taken: list[list[float]] = [[], []]
    for _ in range(rounds):
        for python, seconds in zip(pythons, taken, strict=True):
            seconds.append(cpu_of(*words, python=python))
    one, other = map(min, taken)
    click.echo(f"{one:.3f} s, {other:.3f} s, ratio {other / one:.3f}")


compare()
