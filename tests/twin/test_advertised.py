"""What is advertised, as keys of a device file or, where these cannot say it, as its bytes."""

from __future__ import annotations

import pytest

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.twin.advertised import data_of, told_by_system


def named(name: str) -> bytes:
    text = name.encode()
    return bytes([len(text) + 1, 0x09]) + text


@pytest.mark.parametrize("name", ["${x}", "a${1 + 1}b", "${"])
def test_a_name_that_a_file_would_take_for_a_reference(name: str) -> None:
    keys = data_of(named(name))
    assert keys is not None
    assert [*keys] == (["name"] if name == "${" else ["raw"])
    told_by_system(AdvertisingSeen(name=name))
