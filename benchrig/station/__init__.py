"""The station file: what a bench is, and what it does with the units of a line.

station.py   the file itself
around.py    fixture, console and power of the unit; what may not run here
wiring.py    console and power at work
slots.py     radios, and the slots that units are put into
products.py  which barcode is which product, and what it is tested with
rules.py     retests, when the line stops, how a unit is proven to be in its slot
checks.py    the units that check the station itself
told.py      programs that are told of a verdict
rehearsing.py simulated units in the slots
words.py     what is typed or scanned beside labels
labels.py    what is wrong between labels
wires.py     what is wrong between radios and wires of the slots
"""
