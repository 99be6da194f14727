"""The properties of a characteristic, whatever order a radio has them in."""

from __future__ import annotations

import pytest

from benchrig.radio.table import in_order


@pytest.mark.parametrize(
    ("given", "ordered"),
    [
        # bits 0x02, 0x08, 0x10, 0x20 (Core Vol 3 Part G 3.3.1.1)
        (["indicate", "notify", "write", "read"], ("read", "write", "notify", "indicate")),
        (["reliable write", "read", "a new one"], ("read", "a new one", "reliable write")),
        ([], ()),
    ],
)
def test_they_come_in_the_order_of_their_bits(given: list[str], ordered: tuple[str, ...]) -> None:
    assert in_order(given) == ordered
    assert in_order(frozenset(given)) == ordered
