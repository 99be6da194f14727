"""A Bluetooth LE air in this process, with simulated devices, on a clock that jumps over waiting.

clock.py            the loop on which waiting costs nothing
device_file.py      YAML -> device specifications
device_spec.py      a device as a specification (advertising_spec, air_spec, gatt_spec, table_spec: its parts; words,
                    value_reading: their values); sources.py: where the values of a characteristic come from
reaction_spec.py    what occasions set off; reactions.py: the same at work; effects.py: the values they put into
                    characteristics; makers.py: what makes these values
spread_spec.py      how units of one kind differ; spread.py: one of them; spread_values.py: its values
behaviours.py       what a device does wrong, or slowly; behaviour.py: what a behaviour is; block.py: where they stand;
                    doorway.py: those of requests; updates.py: those of values that are sent
security.py         how a device pairs, its bonds, how its links are protected; security_spec.py: what a file says of that,
                    security_user.py: who is at it, security_conduct.py: what it does not accept, its faults
access_rules.py     whether an access is allowed on such a link; needs_spec.py: what a file says of that
opening.py          specifications -> an open air with the bench's stack in it
shared_air.py       an air that several radios of the bench listen to, and that devices come into and leave
air.py              who is in the air and who is connected
band.py             advertising channels
airlink.py          one connection: two ends, supervision; carrier.py: its parameters and timers; airqueue.py: one
                    direction of it; pace.py: times on air
chance.py           everything random
conditions.py       how rough an air is; rough_band.py, backoff.py: its advertising channels; rough_link.py: its
                    connections; propagation.py: levels, fading, lost packets
controller.py       bumble's controller, put right
device.py           a connectable device (characteristic, value, server: its parts)
faults.py           what goes wrong, on demand
capture.py          btsnoop

Nothing here loads bumble before an air is opened.
"""

from benchrig.radio.virtual.device_file import conditions_of, devices_of, load_devices, read_devices
from benchrig.radio.virtual.faults import DROPPED, AirPdu, Faults
from benchrig.radio.virtual.opening import OpenAir, open_air

__all__ = [
    "DROPPED",
    "AirPdu",
    "Faults",
    "OpenAir",
    "conditions_of",
    "devices_of",
    "load_devices",
    "open_air",
    "read_devices",
]
