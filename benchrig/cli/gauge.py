"""`benchrig gauge`: how much of what a station reads is the station."""

from __future__ import annotations

import click

from benchrig.cli.lazy import LazyGroup

FILES = {"begin": "gauge_begin", "run": "gauge_run", "status": "gauge_result", "result": "gauge_result"}


@click.group(cls=LazyGroup, files=FILES, short_help="Study how repeatable a station measures.")
def gauge() -> None:
    """Measure the same units again and again, and tell how much of what is read is the station: repeatability,
    reproducibility, and both against the tolerance.

    \b
    Example:
      benchrig gauge begin study/ line.yaml --units A17,A18,A19,A20,A21 --appraisers Anna,Ben --repeats 3
      benchrig gauge run study/
      benchrig gauge result study/
    """
