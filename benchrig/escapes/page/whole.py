"""The page from its parts."""

from __future__ import annotations

from datetime import datetime

from benchrig.escapes.page import facts, lists, matrix
from benchrig.escapes.page.elements import document, el, verbatim
from benchrig.escapes.page.style import SCRIPT, STYLE
from benchrig.escapes.page.things import things_of
from benchrig.escapes.results import Hunted

GENERATOR = "benchrig escapes"
# How an earlier page is told from another file.
BEGINS = f'<meta name="generator" content="{GENERATOR}">'.encode()


def page(hunted: Hunted, on: datetime) -> bytes:
    things = things_of(hunted)
    head = el("head", el("meta", charset="utf-8"), el("meta", name="generator", content=GENERATOR),
              el("meta", name="viewport", content="width=device-width, initial-scale=1"),
              el("title", f"Escapes of {hunted.plan}"), verbatim("style", STYLE))  # fmt: skip
    main = el("main", facts.counts(hunted), *lists.wrong(hunted), *lists.gaps(hunted, things),
              *lists.requirements(hunted.coverage), matrix.overview(hunted, things), *lists.escaped(hunted),
              *lists.arguments(hunted), matrix.matrix(hunted, things), *lists.others(hunted))  # fmt: skip
    contents = (el("a", section[0].text or "", href=f"#{section[0].get('id')}") for section in main)
    navigation = el("nav", *contents, aria_label="Contents")
    body = el("body", facts.head(hunted, on), navigation, main, verbatim("script", SCRIPT))
    return document(el("html", head, body, lang="en"))
