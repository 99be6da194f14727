"""The words for why a link ended: those of the link layer, as far as a link can end by them."""

from __future__ import annotations

# Core Vol 1 Part F 1.3 and 2: what HCI Disconnection Complete gives as reason.
LOSSES: dict[int, str] = {
    0x05: "authentication failure",
    0x08: "connection timeout",
    0x13: "remote user terminated connection",
    0x14: "remote device terminated connection due to low resources",
    0x15: "remote device terminated connection due to power off",
    0x1A: "unsupported remote feature",
    0x22: "lmp or ll response timeout",
    0x28: "instant passed",
    0x29: "pairing with unit key not supported",
    0x2A: "different transaction collision",
    0x3B: "unacceptable connection parameters",
    0x3D: "connection terminated due to mic failure",
    0x3E: "connection failed to be established",
}
BY_THIS_HOST = "connection terminated by local host"
