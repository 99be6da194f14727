"""What a name means in the table of a device."""

from __future__ import annotations

import pytest

from benchrig.errors import AttributeMissing
from benchrig.radio.table import Characteristic, Service, Table
from benchrig.steps.attribute import Names
from benchrig.steps.lookup import look_up
from benchrig.values.catalogue import uuid_of

TABLE = Table((Service(1, str(uuid_of("battery", "service")),
                       (Characteristic(3, str(uuid_of("battery level")), ("read",)),)),))  # fmt: skip


@pytest.mark.parametrize("name", ["0x0003", "0003"])
def test_a_handle_without_its_word_is_told_from_a_uuid(name: str) -> None:
    with pytest.raises(AttributeMissing, match="that is a UUID") as caught:
        look_up(TABLE, Names(), name)
    assert caught.value.advice == "write 'handle 0x0003' for the attribute with this handle"
    assert look_up(TABLE, Names(), "handle 0x0003").found.attribute.handle == 3


def test_a_uuid_that_is_no_handle_either_gets_the_names_that_are_there() -> None:
    with pytest.raises(AttributeMissing) as caught:
        look_up(TABLE, Names(), "0x0004")
    assert "battery level" in caught.value.advice


def test_the_beginning_of_a_uuid_is_completed_in_the_advice() -> None:
    own = "7ac10002-52b6-4d0e-9d41-3f0aa1b2c3d4"
    table = Table((Service(1, own.replace("2-", "1-", 1), (Characteristic(3, own, ("read",), ()),)),))
    with pytest.raises(AttributeMissing) as caught:
        look_up(table, Names(), "7ac10002")
    assert caught.value.advice == f"did you mean '{own}'? Write the whole UUID"
