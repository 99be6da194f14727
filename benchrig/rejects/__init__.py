"""Good units that a plan rejects: many units of one kind, each drawn from the spread of the device file.

units.py        one unit and the scene that it is tested in
seen.py         what the record of one run says of its limits
running.py      all units on all cores
tight.py        limits that reject too many, and what they should be
sensitivity.py  each limit: how far the units are from it, which faults it alone catches, what it costs
results.py      what it came to, as data
telling.py      the same in words
launch.py       options -> results
"""
