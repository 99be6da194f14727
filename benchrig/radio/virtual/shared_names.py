"""`use:` of a device file: characteristics by the names of a file that plans share.

    use: names/logger.yaml
    services: [{service: …, characteristics: [{characteristic: alarm limit, properties: [read, write], value: 5 °C}]}]

The name gives UUID and format, and effects call the characteristic by it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from benchrig.radio.virtual.words import CharacteristicUuid
from benchrig.source.file_names import FileNames
from benchrig.source.nodes import locate, plain
from benchrig.source.problem import Problems, close, meant
from benchrig.source.shape import Reader
from benchrig.source.yaml import Mapping, Node, Scalar, Sequence, read_file
from benchrig.values.format import FormatSpec

_FORMAT = frozenset(field.encode_name for field in msgspec.structs.fields(FormatSpec))


class _Named(FormatSpec, kw_only=True, frozen=True):
    """A name as plans have it; where in a table it stands is for them."""

    uuid: CharacteristicUuid | None = None
    handle: Any = None
    service: Any = None
    index: Any = None


class _NamesFile(msgspec.Struct):
    attributes: dict[str, _Named]


def with_names(node: Mapping, problems: Problems) -> Mapping:
    """The device file with each characteristic that goes by such a name written out."""
    named: dict[str, Mapping] = {}
    for path in _files(node, problems):
        for name, spec in _names_of(path, problems).items():
            if plain(named.setdefault(name, spec)) != plain(spec):
                problems.add(spec.place, f"the name '{name}' has another meaning in another file of names")
    return _Writer(named, problems).written(node) if named else node


def _files(node: Mapping, problems: Problems) -> Iterator[Path]:
    """Seen from the device file."""
    listed = node.get("use")
    names = Reader(problems).read(listed, FileNames) if listed is not None else ()
    if isinstance(names, tuple):
        yield from (Path(node.place.source.name).parent / name for name in names)


def _names_of(path: Path, problems: Problems) -> dict[str, Mapping]:
    node = read_file(path, problems, least="write 'attributes:' with the names")
    before = problems.mistakes
    if node is None or not isinstance(Reader(problems).read(node, _NamesFile), _NamesFile):
        return {}
    listed = locate(node, ("attributes",))
    assert isinstance(listed, Mapping)
    named = {str(name): spec for name, (_, spec) in listed.entries.items() if isinstance(spec, Mapping)}
    return named if problems.mistakes == before else {}


class _Writer:
    def __init__(self, named: dict[str, Mapping], problems: Problems) -> None:
        self._named, self._problems = named, problems

    def written(self, node: Node) -> Any:
        if isinstance(node, Sequence):
            return Sequence([self.written(item) for item in node.items], node.place)
        if not isinstance(node, Mapping):
            return node
        if isinstance(word := node.get("characteristic"), Scalar):
            return self._characteristic(node, word)
        entries = {key: (scalar, self._part(str(key), part)) for key, (scalar, part) in node.entries.items()}
        return Mapping(entries, node.place)

    def _part(self, key: str, node: Node) -> Node:
        """Characteristics stand in services only."""
        return self.written(node) if key in _WITH_CHARACTERISTICS else node

    def _characteristic(self, node: Mapping, word: Scalar) -> Mapping:
        named = self._named.get(str(word.value))
        if named is None:
            self._check_spelling(word)
            return node
        uuid = named.get("uuid")
        if uuid is None:
            self._problems.add(word.place, f"'{word.value}' is the name of a handle", "give the name a uuid")
            return node
        key = node.entries["characteristic"][0]
        entries: dict[Any, Any] = {**node.entries, "characteristic": (key, uuid)}
        if "name" not in entries:
            entries["name"] = (key, word)
        if not entries.keys() & _FORMAT:
            entries |= {each: part for each, part in named.entries.items() if each in _FORMAT}
        return Mapping(entries, node.place)

    def _check_spelling(self, word: Scalar) -> None:
        """A word that is nearly one of the names, and no other name."""
        problems = Problems()
        Reader(problems).read(word, CharacteristicUuid)
        if problems.found and (near := close(str(word.value), self._named)):
            self._problems.add(word.place, f"unknown characteristic '{word.value}'", meant(near))


_WITH_CHARACTERISTICS = frozenset({"devices", "services", "services_after_reboot", "characteristics"})
