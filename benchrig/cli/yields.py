"""`benchrig yield`: how many units passed, first and in the end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options
from benchrig.cli.options import flag, json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.errors import UsageError
from benchrig.history.questions.words import GROUPINGS

if TYPE_CHECKING:
    from benchrig.figures.yields import YieldFigure
    from benchrig.history.opening import History
    from benchrig.study.yields import Share

_SHARE = ("passed", "of", "share", "exact_low", "exact_high", "wilson_low", "wilson_high")
_COLUMNS = (
    "plan", "by", "group", "simulated", "runs", "apart", *(f"first_pass_{name}" for name in _SHARE), *(f"final_{name}" for name in _SHARE),
)  # fmt: skip


@click.command("yield", short_help="See how many units passed, first and in the end.")
@filter_options()
@option("--by", multiple=True, type=click.Choice(GROUPINGS), metavar="WHAT",
        help=f"Tell the yield by this too: {', '.join(GROUPINGS)}; may be given several times.")  # fmt: skip
@flag("--together", help="Count the runs of several plans as those of one.")
@json_option()
@flag("--csv", "as_csv", help="One row for all runs of a plan and one for each group, as CSV.")
def yields(chosen: Chosen, by: tuple[str, ...], together: bool, as_json: bool, as_csv: bool) -> None:
    """Tell the yield of each plan: the share of the units that passed at their first run, and at their last one, with
    95 % intervals; what the others failed of; who then passed with the same
    firmware, plan and limits.

    A run counts that passed, or failed by limit, device or link. Others, partial runs and those of gauge studies count
    neither way, and are shown apart.

    \b
    Example:
      benchrig yield
      benchrig yield --plan 'Vaccine fridge logger, end of line' --since 2026-11-01 --by station --by day
    """
    with errors_for_people(), chosen.open() as history:
        from benchrig.figures.yields import yields_of

        if chosen.verdict or chosen.cause:
            raise UsageError(
                "a yield of runs that are selected by verdict or cause says nothing",
                advice="leave --verdict and --cause out; benchrig history runs has them",
            )
        figures = yields_of(history, chosen.filters, [*dict.fromkeys(by)], together=together)
        with whatever_the_output_does():
            _show(history, figures, chosen, as_json=as_json, as_csv=as_csv)


def _show(history: History, figures: list[YieldFigure], chosen: Chosen, *, as_json: bool, as_csv: bool) -> None:
    if as_json:
        import msgspec

        told = [msgspec.to_builtins(figure) for figure in figures]
        print_json(
            {
                "history": history.place.shown,
                "filters": chosen.filters.described,
                "simulated": chosen.simulated,
                "yields": told,
            }
        )
    elif as_csv:
        from benchrig.cli.history_text import print_csv

        print_csv(_COLUMNS, (row for figure in figures for row in _rows(figure)))
    else:
        from benchrig.cli.yields_text import YieldPage

        YieldPage(history).show(figures)


def _rows(figure: YieldFigure) -> Iterator[dict[str, Any]]:
    head = {"plan": ", ".join(figure.plans), "simulated": figure.simulated}
    whole = {"by": "", "group": "", "runs": figure.runs, "apart": sum(each.runs for each in figure.apart)}
    yield {**head, **whole, **_cells("first_pass", figure.first_pass), **_cells("final", figure.final)}
    for by, groups in figure.groups.items():
        for each in groups:
            which = {"by": by, "group": each.name, "runs": each.runs, "apart": None}
            yield {**head, **which, **_cells("first_pass", each.first_pass), **_cells("final", each.final)}


def _cells(name: str, share: Share) -> dict[str, Any]:
    exact, wilson = share.exact or (None, None), share.wilson or (None, None)
    return dict(
        zip((f"{name}_{each}" for each in _SHARE), (share.passed, share.of, share.share, *exact, *wilson), strict=True)
    )
