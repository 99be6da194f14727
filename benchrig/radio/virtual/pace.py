"""How long packets take on air (Core Vol 6 Part B), with 150 µs between two."""

from __future__ import annotations

from functools import lru_cache

from benchrig.radio.bumble_stack.bumble_api import hci

BETWEEN_PACKETS = 150e-6
LONGEST_PACKET = 251
SHORTEST_PACKET = 27  # of those that every controller takes; longer ones have to be agreed


def packet_time(octets: int, phy: int) -> float:
    """Seconds on air of one packet with so many octets of payload."""
    if phy == hci.Phy.LE_CODED:
        return (80 + 256 + 16 + 24 + 8 * 8 * (2 + octets + 3) + 3 * 8) * 1e-6
    preamble, bits_per_us = (2, 2) if phy == hci.Phy.LE_2M else (1, 1)
    return 8 * (preamble + 4 + 2 + octets + 3) / bits_per_us * 1e-6


def fragments(octets: int, longest: int) -> list[int]:
    """The sizes of the packets that a PDU goes in."""
    full, rest = divmod(octets, longest)
    return [longest] * full + ([rest] if rest or not full else [])


@lru_cache(maxsize=1024)
def exchange_time(octets: int, phy: int, longest: int = LONGEST_PACKET) -> float:
    """Seconds that a PDU takes with the empty packets that confirm its fragments."""
    confirm = packet_time(0, phy) + 2 * BETWEEN_PACKETS
    return sum(packet_time(size, phy) + confirm for size in fragments(octets, longest))
