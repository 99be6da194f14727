"""Names that stand for values in a part of a plan alone, such as a round."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator, Mapping
from typing import Any


@contextlib.contextmanager
def known_inside(known: dict[str, Any], values: Mapping[str, Any], defined: Collection[str]) -> Iterator[None]:
    """`known` has these values too. A name that the plan gives a value itself (`defined`) stays its own."""
    extra = {name: value for name, value in values.items() if name not in defined}
    before = {name: known[name] for name in extra if name in known}
    known |= extra
    try:
        yield
    finally:
        for name in extra:
            del known[name]
        known |= before
