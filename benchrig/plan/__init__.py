"""Plan files: text -> Plan.

model.py      the top of a plan, its steps with their places, given values
loader.py     the whole, and every check that needs no radio
lists.py      lists of steps -> nodes
including.py  `use`
given.py      the values of a run
files.py      the files that all this is read from, and their hash
tree.py       the nodes
schema.py     the JSON Schema that editors use
"""
