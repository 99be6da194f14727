"""How rough an air is: the parameters, and the profiles that have a name.

Levels in dBm, spreads and gains in dB, times in seconds, shares from 0 to 1. A source stands beside each number;
"practice" is common practice without one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Conditions:
    """An air that is not kind.

    others              units that nobody sees, each advertising 31 octets every `others_interval`: they collide
    others_level        their mean level; it varies by `unit_spread` from one to the other
    level               mean level of every unit, in place of its own
    unit_spread         standard deviation of a unit's constant offset
    channel_spread      the same for each of its 40 channels
    fading              K factor of what varies from packet to packet (Rice; 0 is Rayleigh); None: nothing varies
    sensitivity         level at which one bit in 1000 is wrong; None: levels lose nothing
    capture             lead with which the stronger of two packets is received all the same
    loss                further share of packets that are lost, whatever their length and level
    event_loss          further share of connection events in which nothing crosses
    request_loss        further share of connection requests that are not heard
    data_length_after   connection events until packets grow from 27 to 251 octets; None: they do not
    packets             the most packets that one direction gets into one connection event
    clock               largest deviation of a unit's clock, as a share
    level_unknown       share of reports whose level was not measured (127)
    """

    name: str = "rough"
    others: int = 5
    others_interval: float = 1.0
    others_level: float = -60.0
    level: float | None = None
    unit_spread: float = 2.0
    channel_spread: float = 2.0
    fading: float | None = 10.0
    sensitivity: float | None = -95.0
    capture: float = 8.0
    loss: float = 0.005
    event_loss: float = 0.0
    request_loss: float = 0.0
    data_length_after: int | None = 3
    packets: int = 6
    clock: float = 20e-6
    level_unknown: float = 0.01


# Of all numbers: practice, but for sensitivity and capture (data sheets of 1M radios say -95 and 8 dB), fading (line
# of sight indoors), clock (Core Vol 6 Part B 4.2: 50 ppm at most for an advertiser's active clock, 500 ppm asleep) and
# packets (hosts are known to cap at 4 to 6).
ROUGH = Conditions()
CROWDED = replace(
    ROUGH, name="crowded", others=200, others_level=-65.0, unit_spread=5.0, channel_spread=3.0, fading=4.0,
    loss=0.05, packets=4, clock=40e-6,
)  # fmt: skip
FAR = replace(
    ROUGH, name="far", level=-92.0, unit_spread=0.0, channel_spread=0.0, fading=4.0,
    loss=0.02, data_length_after=6, packets=4, clock=50e-6,
)  # fmt: skip
# For one mechanism at a time.
STILL = Conditions(
    name="still", others=0, unit_spread=0.0, channel_spread=0.0, fading=None, sensitivity=None, loss=0.0,
    data_length_after=None, packets=1000, clock=0.0, level_unknown=0.0,
)  # fmt: skip
KIND = "kind"
CHANGED = ", changed"  # behind the name of what a file changes
PROFILES = {profile.name: profile for profile in (ROUGH, CROWDED, FAR)}
