"""The steps of a plan as the columns of a table: each one, in the order of the plan, those of a composite step under it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from xml.etree import ElementTree as ET

from benchrig.escapes.coverage import every_node, noticed
from benchrig.escapes.results import Hunted
from benchrig.html.elements import el
from benchrig.record.events import PlannedNode

# What ended outside of any step.
RUN = PlannedNode("", "the run as a whole", "run", "")


@dataclass(frozen=True)
class Column:
    """`top` is the node of the plan itself that the step is, or is in."""

    node: PlannedNode
    top: PlannedNode

    @property
    def words(self) -> str:
        return f"{self.node.id} {self.node.name}".strip()


def columns_of(hunted: Hunted) -> list[Column]:
    """Those that can notice something, and those that did."""
    ends = {catch.node for result in hunted.results for catch in noticed(result)}
    every = [Column(node, top) for top in hunted.nodes for node in every_node([top])]
    columns = [each for each in every if each.node.counts or each.node.id in ends]
    return [*columns, Column(RUN, RUN)] if ends - {each.node.id for each in columns} else columns


def heads(columns: Sequence[Column], before: Sequence[str], after: Sequence[str] = ()) -> ET.Element:
    """Two rows: what belongs together, then each step. The other columns go over both."""
    name, *others = before
    first = el("tr", el("th", name, scope="col", rowspan=2, class_="name"),
               *(el("th", text, scope="col", rowspan=2) for text in others), *_groups(columns))  # fmt: skip
    first.extend(el("th", text, scope="col", rowspan=2) for text in after)
    edges = edges_of(columns)
    steps = (
        el("th", el("span", each.words), scope="col", class_=f"s {edges[each.node.id]}".strip()) for each in columns
    )
    return el("thead", first, el("tr", *steps))


def edges_of(columns: Sequence[Column]) -> dict[str, str]:
    """By step 'edge' where a group begins, else ''."""
    first = {next(group).node.id for _, group in groupby(columns, key=_group)}
    return {each.node.id: "edge" if each.node.id in first else "" for each in columns}


def _groups(columns: Sequence[Column]) -> Iterator[ET.Element]:
    for name, group in groupby(columns, key=_group):
        yield el("th", name, scope="colgroup", colspan=len([*group]), class_="group", title=name)


def _group(column: Column) -> str:
    """A composite step; else the section."""
    if column.top.children:
        return f"{column.top.id} {column.top.name}"
    return "" if column.node is RUN else column.top.section
