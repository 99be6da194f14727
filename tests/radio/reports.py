"""Advertising reports of a controller, as packets."""

ADV_IND, ADV_DIRECT_IND, ADV_SCAN_IND, ADV_NONCONN_IND, SCAN_RSP = range(5)


def report(data=b"", *, rssi=-50, kind=ADV_NONCONN_IND, number=1, public=False):
    """An LE Advertising Report of one device (7.7.65.2), as a packet. `number` becomes the last octet of its address."""
    said = (
        bytes((2, 1, kind, 0 if public else 1)) + _address(number) + bytes((len(data),)) + data + bytes((rssi & 0xFF,))
    )
    return bytes((4, 0x3E, len(said))) + said


def name_field(name, *, complete=True):
    """The structure of a local name."""
    return bytes((len(name) + 1, 9 if complete else 8)) + name.encode()


def extended(event_type, data=b"", *, rssi=-50, number=1):
    """An LE Extended Advertising Report (7.7.65.13) of one device."""
    said = bytes((0x0D, 1)) + event_type.to_bytes(2, "little") + b"\x01" + _address(number)
    said += bytes((1, 0, 0xFF, 0x7F, rssi & 0xFF, 0, 0)) + bytes(7) + bytes((len(data),)) + data
    return bytes((4, 0x3E, len(said))) + said


def _address(number):
    return bytes((number, 0, 0, 0, 0, 0xC4))
