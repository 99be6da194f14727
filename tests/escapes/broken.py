"""Reads the units of `by_hand`: each is the sound device file of its product with a few edits."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

DEVICES = Path(__file__).parents[2] / "testplans" / "devices"
BY_HAND = Path(__file__).parent / "by_hand"
PRODUCTS = ("logger", "transport_box")


@dataclass(frozen=True)
class Broken:
    """A unit with one fault: what it does wrong in a sentence, and its device file, which belongs beside the sound one."""

    product: str
    fault: str
    text: str


def sound(product: str) -> str:
    """The device file of a product as it should be."""
    return (DEVICES / f"{product}.yaml").read_text(encoding="utf-8")


def edited(text: str, old: str, new: str) -> str:
    """`text` with `new` in place of `old`, which has to be there exactly once."""
    if (times := text.count(old)) != 1:
        raise ValueError(f"there {times} times, not once: {old!r}")
    return text.replace(old, new)


def broken(product: str) -> list[Broken]:
    """The units of a product that were broken by hand, in the order of their file."""
    units: list[dict[str, Any]] = yaml.safe_load((BY_HAND / f"{product}.yaml").read_text(encoding="utf-8"))
    return [_unit(product, **unit) for unit in units]


def _unit(product: str, fault: str, edits: list[dict[str, str]]) -> Broken:
    text = sound(product)
    for edit in edits:
        try:
            text = edited(text, edit["from"], edit["to"])
        except ValueError as wrong:
            raise ValueError(f"{product}, '{fault}': {wrong}") from None
    return Broken(product, fault, text)
