"""A twin of a failed run: a device file that does what the unit did in that run.

story.py          what the unit did, from whatever source
from_capture.py   the story that a capture tells (discovery.py: its table, pairing.py: how it paired)
from_record.py    the story that a record tells, and what is a guess in it
composing.py      story → device file
checking.py       whether the plan fails on the twin as it did on the unit
making.py         all of it, for the folder of a run
"""
