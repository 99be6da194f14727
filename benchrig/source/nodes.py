"""What is in a node tree: a part of it, its plain data, its text."""

from __future__ import annotations

from typing import Any

from benchrig.source.yaml import Mapping, Node, Sequence


def locate(node: Node, path: tuple[str | int, ...]) -> Node:
    """The node at `path`, or the nearest one above it."""
    for part in path:
        if isinstance(node, Mapping) and part in node.entries:
            node = node.entries[part][1]
        elif isinstance(node, Sequence) and isinstance(part, int) and part < len(node.items):
            node = node.items[part]
        else:
            break
    return node


def plain(node: Node) -> Any:
    """The node as plain data: dicts, lists and scalar values."""
    if isinstance(node, Mapping):
        return {key: plain(value) for key, (_, value) in node.entries.items()}
    if isinstance(node, Sequence):
        return [plain(item) for item in node.items]
    return node.value


def as_written(node: Node) -> Any:
    """The node as dicts, lists and the text of its scalars."""
    if isinstance(node, Mapping):
        return {key: as_written(value) for key, (_, value) in node.entries.items()}
    return [as_written(item) for item in node.items] if isinstance(node, Sequence) else node.text
