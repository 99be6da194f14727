"""`variants`: tables of values by a given one.

variants:
  market:                                   a given value
    de: {top: 25 km/h, assist: {max: 250 W}}   its row: names for values, limits and other structures
    us: {top: 45 km/h, assist: {max: 500 W}}
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any, ClassVar, TypeAlias

from benchrig.plan.given import GivenValues
from benchrig.plan.given_spec import Given
from benchrig.source.nodes import plain
from benchrig.source.problem import NOWHERE, Place, Problems, suggest
from benchrig.source.shape import LooseText, Misfit, describe, describe_value
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence

Row: TypeAlias = dict[str, Node]


class Tables:
    """As they are written; `Variants` reads them."""

    source_schema: ClassVar[dict[str, Any]] = {
        "type": "object",
        "description": "tables by a given value: its rows, each with the same names",
        "additionalProperties": {"type": "object", "additionalProperties": {"type": "object"}},
    }

    @classmethod
    def from_source(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            raise Misfit(f"expected tables by a given value, found {describe_value(value)}", _EXAMPLE)
        return value


_EXAMPLE = "for example: {market: {de: {top: 25 km/h}, us: {top: 45 km/h}}}"


@dataclass
class Variants:
    """Those of one plan. `chosen` is the row of each table, where the run, or the default, says so."""

    problems: Problems
    tables: dict[str, dict[str, Row]] = field(default_factory=dict)
    chosen: dict[str, str] = field(default_factory=dict)
    # the table that a name stands in, and where
    names: dict[str, str] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)

    def read(self, node: Node | None, given: Mapping[str, Given], values: GivenValues) -> None:
        """Read the tables, choose the rows, and add what these hold to the values."""
        for key, scalar, table in self._entries(node):
            if self._goes_by(key, scalar, given) and (rows := self._rows(key, table, given)):
                self.tables[key] = rows
                self._choose(key, scalar, values)

    # --- one table

    def _goes_by(self, name: str, key: Scalar, given: Mapping[str, Given]) -> bool:
        """Whether there is such a value, and it is one that everybody may know."""
        spec = given.get(name)
        if spec is None:
            self.problems.add(
                key.place, f"no value is given as '{name}'", suggest(name, given) or "name it under given:"
            )
        elif spec.secret or spec.random is not None:
            what = "secret" if spec.secret else "random"
            self.problems.add(key.place, f"the {what} value '{name}' chooses no variant", "take another given value")
        elif spec.kind[0] != "text":
            self.problems.add(key.place, f"'{name}' is a number, and rows have words", "give it one_of words")
        else:
            return True
        return False

    def _rows(self, table: str, node: Node, given: Mapping[str, Given]) -> dict[str, Row]:
        before, rows, names = self.problems.mistakes, dict[str, Row](), dict[str, Scalar]()
        if not isinstance(node, MappingNode) or not node.entries:
            self.problems.add(node.place, f"expected rows by the values of '{table}', found {describe(node)}", _EXAMPLE)
        for word, key, row in self._entries(node):
            if problem := given[table].problem_with(LooseText(word)):
                advice = suggest(word, given[table].listed) or "take the row out, or change the limit"
                self.problems.add(key.place, f"'{table}' is never '{word}': {problem}", advice)
            rows[word] = self._row(table, word, key, row, names, given, first=not rows)
        for word in given[table].listed:
            if word not in rows:
                self.problems.add(
                    node.place, f"the table '{table}' has no row '{word}', which the value may be", "add it"
                )
        return rows if self.problems.mistakes == before else {}

    def _row(
        self, table: str, word: str, key: Scalar, node: Node, names: dict[str, Scalar], given: Mapping[str, Given],
        *, first: bool,
    ) -> Row:  # fmt: skip
        """One row; all have the `names` of the first one."""
        if not isinstance(node, MappingNode) or not node.entries:
            self.problems.add(node.place, f"expected names with their values, found {describe(node)}", _EXAMPLE)
            return {}
        row = {}
        for name, scalar, value in self._entries(node):
            row[name] = value
            if first and self._may_name(table, name, scalar, given):
                names[name] = scalar
            elif not first and name not in names:
                self.problems.add(scalar.place, f"the first row of '{table}' has no '{name}'", suggest(name, names))
            if isinstance(value, Scalar) and value.value is None:
                self.problems.add(value.place, f"'{name}' has no value", "write one")
        for name in names.keys() - row.keys():
            self.problems.add(key.place, f"the row '{word}' has no '{name}'", "every row has the same names")
        return row

    def _may_name(self, table: str, name: str, key: Scalar, given: Mapping[str, Given]) -> bool:
        if not name.isidentifier():
            self.problems.add(key.place, f"'{name}' cannot be the name of a value", "use letters, digits and _")
        elif name in given:
            self.problems.add(key.place, f"'{name}' is a given value already", "choose another name")
        elif name in self.names:
            message = f"'{name}' is a value of the table '{self.names[name]}' already"
            self.problems.add(key.place, message, "choose another name")
        else:
            self.names[name], self.places[name] = table, key.place
            return True
        return False

    def _entries(self, node: Node | None) -> Iterator[tuple[str, Scalar, Node]]:
        for key, (scalar, part) in node.entries.items() if isinstance(node, MappingNode) else ():
            if isinstance(key, str):
                yield key, scalar, part
            else:
                message = f"expected text as a key, found {describe(scalar)}"
                self.problems.add(scalar.place, message, f"quote it: '{scalar.text}'")

    def _choose(self, table: str, key: Scalar, values: GivenValues) -> None:
        word = values.values.get(table)
        if word is None:
            return
        if (row := self.tables[table].get(str(word))) is None:
            place = NOWHERE if table in (values.given or {}) else key.place
            self.problems.add(place, f"the table '{table}' has no row '{word}'", suggest(str(word), self.tables[table]))
            return
        self.chosen[table] = str(word)
        values.values.update({name: plain(part) for name, part in row.items()})

    # --- its values in a step

    def inserted(self, node: Node, row: Mapping[str, Node] | None = None) -> Node:
        """The tree with the lists and structures of the chosen rows, or of `row`, in place of their references."""
        parts = self._parts if row is None else {**self._parts, **row}
        return _inserted(node, {name: part for name, part in parts.items() if not isinstance(part, Scalar)})

    @property
    def _parts(self) -> Row:
        return {name: part for table, word in self.chosen.items() for name, part in self.tables[table][word].items()}

    def others(self, used: AbstractSet[str]) -> Iterator[tuple[str, Row]]:
        """The rows, 'table: word', that a step with these references has not been read with."""
        for table in dict.fromkeys(self.names[name] for name in sorted(used & self.names.keys())):
            for word, row in self.tables.get(table, {}).items():
                if word != self.chosen.get(table):
                    yield f"{table}: {word}", row


def _inserted(node: Node, parts: Mapping[str, Node]) -> Node:
    if not parts:
        return node
    if isinstance(node, MappingNode):
        return MappingNode(
            {key: (scalar, _inserted(part, parts)) for key, (scalar, part) in node.entries.items()}, node.place
        )
    if isinstance(node, Sequence):
        return Sequence([_inserted(item, parts) for item in node.items], node.place)
    text = node.value
    whole = isinstance(text, str) and text.startswith("${") and text.endswith("}") and not node.final
    return parts.get(str(text)[2:-1].strip(), node) if whole else node
