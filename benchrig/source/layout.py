"""Plain data -> YAML as people write it: short mappings on one line, comments beside them where they fit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from benchrig.source.writing import flow, scalar

WIDTH = 112
# From the whole to a part: keys and indexes, as a Misfit has them.
Path: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True)
class Layout:
    """`comments` are of the parts at these paths, each a text without line breaks; the lists at the keys `listed` have a
    line or more for each item."""

    comments: Mapping[Path, str] = field(default_factory=dict)
    listed: Collection[str] = ()

    def text(self, data: Mapping[str, Any], head: Iterable[str] = ()) -> str:
        lines = [f"# {sentence}".rstrip() for sentence in head]
        return "\n".join([*lines, *self._mapping(data, (), 0)]) + "\n"

    def _mapping(self, data: Mapping[str, Any], path: Path, indent: int) -> Iterator[str]:
        for key, value in data.items():
            yield from self._entry(f"{' ' * indent}{scalar(key)}:", value, (*path, key), indent)

    def _entry(self, start: str, value: Any, path: Path, indent: int) -> Iterator[str]:
        line = f"{start} {flow(value)}"
        if self._stays_whole(line, value, path):
            yield from self._commented(line, path, indent)
            return
        yield from self._commented(start, path, indent)
        if isinstance(value, Mapping):
            yield from self._mapping(value, path, indent + 2)
        else:
            for index, item in enumerate(value):
                yield from self._item(item, (*path, index), indent + 2)

    def _item(self, value: Any, path: Path, indent: int) -> Iterator[str]:
        pad = " " * indent
        line = f"{pad}- {flow(value)}"
        if self._stays_whole(line, value, path):
            yield from self._commented(line, path, indent)
            return
        if path in self.comments:
            yield f"{pad}# {self.comments[path]}"
        if not isinstance(value, Mapping):
            yield line
            return
        first = True
        for inner in self._mapping(value, path, indent + 2):
            # a comment that has no place beside the first key goes before the item
            if first and not inner.lstrip().startswith("#"):
                yield f"{pad}- {inner[indent + 2 :]}"
                first = False
            else:
                yield f"{pad}{inner[indent + 2 :]}" if first else inner

    def _commented(self, line: str, path: Path, indent: int) -> Iterator[str]:
        comment = self.comments.get(path, "")
        if comment and len(line) + len(comment) + 3 > WIDTH:
            yield f"{' ' * indent}# {comment}"
            yield line
        else:
            yield f"{line} # {comment}" if comment else line

    def _stays_whole(self, line: str, value: Any, path: Path) -> bool:
        """Whether it is written on one line."""
        if not isinstance(value, (Mapping, list)) or not value:
            return True
        if any(len(other) > len(path) and other[: len(path)] == path for other in self.comments):
            return False
        if isinstance(value, list) and not any(isinstance(item, Mapping) for item in value):
            return True
        if path[-1] in self.listed or self._has_lists(value):
            return False
        return len(line) <= WIDTH

    def _has_lists(self, value: Any) -> bool:
        if isinstance(value, Mapping):
            return any(key in self.listed or self._has_lists(part) for key, part in value.items())
        return isinstance(value, list) and any(map(self._has_lists, value))
