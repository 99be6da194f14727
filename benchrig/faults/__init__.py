"""The ways in which devices break, each as data: small, named, and the same whenever its name is said again.

fault.py        a fault, and the scene that it changes: devices, air, what befalls the bench
registry.py     all faults of a scene, one by its name, pairs of them
limits.py       what a plan says of values
holding.py      whether a device file can hold a changed device
mutation.py     a changed device as a function of a specification
parts.py        the attributes of a device, with what people call them
leaves.py       the values that it sends, as a whole and by their fields
references.py   its reactions by what they name
occasions.py    at which times something happens, and what happens instead
doings.py       what it does at writes, links, starts and lines of its console, each with a name and the way to change it
weakening.py    each way to ask for a little less security

A file a family: values.py (numbers.py with outside.py, texts.py, sources.py), later.py, table.py (descriptors.py, uuids.py,
extras.py), advertising.py (advertised.py), streams.py, writes.py, exchanges.py (reads.py, commands.py), links.py, firmware.py,
security.py, and bench.py, whose faults are none of the unit.
"""
