"""The page from its parts."""

from __future__ import annotations

from datetime import datetime

from benchrig.escapes.page import facts, lists, matrix
from benchrig.escapes.page.style import SCRIPT, STYLE
from benchrig.escapes.page.things import things_of
from benchrig.escapes.results import Hunted
from benchrig.html.document import begins, document
from benchrig.html.elements import el
from benchrig.html.parts import contents

GENERATOR = "benchrig escapes"
BEGINS = begins(GENERATOR)


def page(hunted: Hunted, on: datetime) -> bytes:
    things = things_of(hunted)
    main = el("main", facts.counts(hunted), *lists.wrong(hunted), *lists.gaps(hunted, things),
              *lists.requirements(hunted.coverage), matrix.overview(hunted, things), *lists.escaped(hunted),
              *lists.arguments(hunted), matrix.matrix(hunted, things), *lists.others(hunted))  # fmt: skip
    body = facts.head(hunted, on), contents(main), main
    return document(f"Escapes of {hunted.plan}", GENERATOR, *body, style=STYLE, script=SCRIPT)
