"""The code of the package as syntax trees."""

from __future__ import annotations

import ast
import contextlib
import gc
from collections.abc import Iterator
from functools import cache
from pathlib import Path


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(tree(path)))


@contextlib.contextmanager
def kept() -> Iterator[None]:
    """Trees stay until the end. Garbage is not looked for meanwhile: every look would be at all trees there are."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        nodes.cache_clear()
        tree.cache_clear()
