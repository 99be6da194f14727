"""The station that an operator works at: barcodes in, verdicts out. Knows of no screen.

line.py      the controller: texts in, units tested, a view out
radios.py    the radios, opened once and lent to the runs in the slots
view.py      what a screen shows, as data
rehearsal.py the line on a simulated radio: units whose files are put into slots
proof.py     which unit is in a slot: what is asked, what can come of it; prover.py: asked on the air
doubled.py   what is wrong with a unit beside all steps of its plan
"""
