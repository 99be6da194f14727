"""What a plan file calls its values, without reading the rest of it."""

from __future__ import annotations

from pathlib import Path

from benchrig.source.nodes import locate
from benchrig.source.problem import Problems
from benchrig.source.yaml import Mapping, Node, Scalar, read_file


def given_names(path: Path) -> frozenset[str]:
    """All given values; what is wrong with the file is told by who loads it."""
    return frozenset(map(str, _given(path)))


def secret_names(path: Path) -> frozenset[str]:
    """Those that are secret."""
    flags = {name: locate(spec, ("secret",)) for name, spec in _given(path).items()}
    return frozenset(name for name, flag in flags.items() if isinstance(flag, Scalar) and flag.value is True)


def _given(path: Path) -> dict[str, Node]:
    node = read_file(path, Problems())
    given = locate(node, ("given",)) if isinstance(node, Mapping) and "given" in node.entries else None
    entries = given.entries if isinstance(given, Mapping) else {}
    return {name: spec for name, (_, spec) in entries.items()}
