"""What a packet meets on its way: levels, fading, bit errors, other packets. LE 1M."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.chance import Chance
    from benchrig.radio.virtual.conditions import Conditions

CHANNELS = 40
ADVERTISING_CHANNELS = (37, 38, 39)
BETWEEN_PACKETS = 150e-6  # T_IFS, Core Vol 6 Part B 4.1.1
# Bit error rate of noncoherent FSK, ½·exp(-SNR/2), with the SNR at which it is 1e-3, the rate at which a receiver's
# sensitivity is defined (Core Vol 6 Part A 4).
_SNR = 12.43
_STRONG = 40.0  # dB: no fading worth a number reaches down from there


def advertising_time(octets: int) -> float:
    """Seconds on air of an advertising PDU whose payload, addresses included, has so many octets: preamble 1, access
    address 4, header 2, CRC 3 (Core Vol 6 Part B 2.1)."""
    return 8 * (10 + octets) * 1e-6


def packet_error(margin: float, octets: int) -> float:
    """The chance that a packet with such a payload is lost, so many dB above the sensitivity."""
    bit_error = 0.5 * math.exp(-_SNR * 10 ** (margin / 10) / 2)
    return 1.0 - (1.0 - bit_error) ** (8 * (octets + 9))


def fade(rng: random.Random, k: float) -> float:
    """One draw of Rice fading with this K factor, in dB; its mean power is 1."""
    spread = math.sqrt(0.5 / (k + 1))
    real, imaginary = rng.gauss(math.sqrt(k / (k + 1)), spread), rng.gauss(0.0, spread)
    return 10 * math.log10(max(real * real + imaginary * imaginary, 1e-12))


class Path:
    """The way between a unit and the bench: constant offsets of the unit and of each channel, and what varies."""

    def __init__(self, conditions: Conditions, chance: Chance, unit: str) -> None:
        self._conditions = conditions
        self.unit = unit
        fixed = chance.of("offsets", unit)
        offset = fixed.gauss(0.0, conditions.unit_spread)
        self._offsets = [offset + fixed.gauss(0.0, conditions.channel_spread) for _ in range(CHANNELS)]
        # between the starts of two PDUs of one advertising event: at most 10 ms (Core Vol 6 Part B 4.4.2.3); practice
        self.spacing = fixed.uniform(0.5e-3, 1.5e-3)
        self.clock = 1.0 + fixed.uniform(-conditions.clock, conditions.clock)

    def mean_level(self, mean: float, channel: int) -> float:
        own = self._conditions.level
        return (mean if own is None else own) + self._offsets[channel]

    def level(self, mean: float, channel: int, rng: random.Random) -> float:
        """Of one packet."""
        varies = 0.0 if self._conditions.fading is None else fade(rng, self._conditions.fading)
        return self.mean_level(mean, channel) + varies

    def loses(self, level: float, octets: int, rng: random.Random) -> bool:
        """Whether one packet of this level is lost on its own, without any other in its way."""
        conditions = self._conditions
        if conditions.loss and rng.random() < conditions.loss:
            return True
        if conditions.sensitivity is None or level > conditions.sensitivity + _STRONG:
            return False
        return rng.random() < packet_error(level - conditions.sensitivity, octets)


class Crowd:
    """The units that nobody sees: they are there as the chance that one of them is on the same channel."""

    def __init__(self, conditions: Conditions) -> None:
        self._conditions = conditions
        mean_period = conditions.others_interval + 5e-3
        self._load = conditions.others / mean_period

    def hits(self, level: float, opening: float, rng: random.Random) -> bool:
        """Whether one of them begins within the `opening` seconds in which that harms a packet of this level."""
        if not self._load or rng.random() >= 1.0 - math.exp(-opening * self._load):
            return False
        other = rng.gauss(self._conditions.others_level, self._conditions.unit_spread)
        return level < other + self._conditions.capture
