"""The record as a page for a browser (`report/page/`)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.html.document import begins
from benchrig.report.registry import Report

if TYPE_CHECKING:
    from benchrig.record.model import Record


def html_page(record: Record) -> bytes:
    from benchrig.report.page.whole import page

    return page(record)


REPORT = Report(
    name="report",
    suffix=".html",
    option="--page",
    help="Also write the page of the run, for a browser, to this file.",
    render=html_page,
    begins=begins("benchrig run"),
    may_lack=True,
)
