"""What is reached of bleak's backends, and that a change of them does not go unnoticed."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from bleak import BleakClient
from bleak.backends.client import BaseBleakClient

from benchrig.errors import InternalError
from benchrig.radio.bleak_api import OwnBackend, RawAdvertisement, address_type, own_backend, raw_of
from benchrig.radio.bumble_stack import BumbleClient

ADDRESS = "C4:00:00:00:00:01"


def client() -> BleakClient:
    return BleakClient(ADDRESS, backend=BumbleClient, stack=None)


def test_our_backend_is_found_and_whole():
    backend = own_backend(client())
    assert isinstance(backend, BumbleClient)
    assert (backend.connected_at, backend.disconnect_reason, backend.fault, backend.unasked) == (None, None, "", {})


@pytest.mark.parametrize("name", OwnBackend.__annotations__)
def test_a_member_of_our_backend_that_is_called_otherwise(name: str):
    changed = client()
    delattr(changed._backend, name)
    with pytest.raises(InternalError, match=f"BumbleClient has no {name}"):
        own_backend(changed)


def test_a_backend_of_a_system_tells_no_more():
    class System(BaseBleakClient):
        pass

    System.__abstractmethods__ = frozenset()
    assert own_backend(BleakClient(ADDRESS, backend=System)) is None


def test_what_bleak_keeps_for_a_backend_is_still_there():
    told = []
    backend = BleakClient(ADDRESS, disconnected_callback=told.append, timeout=7.5, backend=BumbleClient, stack=None)
    own = own_backend(backend)
    own.tell_disconnected()
    assert (own.within, told) == (7.5, [backend])


def test_what_was_on_the_air_comes_from_our_scanners_alone():
    raw = RawAdvertisement(b"\x02\x01\x06", b"", connectable=True, at=1.0)
    assert raw_of(SimpleNamespace(platform_data=(raw,))) is raw
    assert raw_of(SimpleNamespace(platform_data=("/org/bluez/hci0/dev", {}))) is None
    assert raw_of(SimpleNamespace(platform_data=())) is None


@pytest.mark.parametrize(
    ("details", "known"),
    [
        ({"props": {"AddressType": "public"}}, "public"),
        ({"path": "/"}, ""),
        ({"props": {"AddressType": 3}}, ""),
        (None, ""),
    ],
)
def test_the_type_of_an_address_as_bluez_tells_it(details, known: str):
    assert address_type(SimpleNamespace(details=details)) == known
