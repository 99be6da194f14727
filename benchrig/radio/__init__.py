"""How the bench reaches the unit. Nothing outside this package knows bleak.

radio.py        scan and connect
link.py         one connection: read, write, subscribe, disconnect
scan.py         what was heard, by device
table.py        the attribute table, as plain data
bleak_api.py    the fence around bleak's backends
foreign.py      errors of the libraries below -> errors of benchrig
specify.py      '--radio' text -> a radio to open
bumble_stack/   bleak's interface over the Bluetooth stack library bumble
virtual/        the air in this process, with its simulated devices
port/           a controller on that air for a firmware in another process
"""

import logging

# What the libraries below log is said by this package's own errors; without a handler Python would write it to
# standard error, among what is told to people.
for _library in ("bumble", "bleak"):
    logging.getLogger(_library).addHandler(logging.NullHandler())
