"""A twin of a failed run: a device file that does what the unit did in that run.

story.py          what the unit did, from whatever source
from_capture.py   the story that a capture tells (discovery.py: the table, pairing.py: how it paired, listening.py: on the air)
from_record.py    the story that a record tells (written_table.py, streams.py, pairing_on_record.py, from_record_advertising.py)
around.py         what the folder of the run tells beside: names, lines of the console, bonds, the passkey
composing.py      story → device file (answers.py: of one characteristic, wording.py)
checking.py       whether the plan fails on the twin as it did on the unit
making.py         all of it
"""
