"""The ways in which devices break, each as data: small, named, and the same whenever its name is said again.

fault.py        a fault, and the scene that it changes: devices, air, what befalls the bench
registry.py     all faults of a scene, one by its name, pairs of them
limits.py       what a plan says of values
holding.py      whether a device file can hold a changed device
mutation.py     a changed device as a function of a specification
parts.py        the attributes of a device, with what people call them
weakening.py    each way to ask for a little less security

A file a family: table.py (with uuids.py and extras.py), advertising.py.
"""
