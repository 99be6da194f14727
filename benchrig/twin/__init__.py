"""The twin of a device: what was seen of it, as a device file. It never says more than was seen.

seen.py          what was seen: tables, values, streams, how it advertised, the story of each run
from_files.py    inspections, records and watched values that were saved
story.py         what happened in a run, one act after the other; record_story.py: of a record, capture_story.py: of a capture
values.py        bytes of one attribute -> a value of a device file, or how it moves
timing.py        times of arrival -> period and jitter
advertised.py    what it advertised -> the advertising of a device file
table.py         services, characteristics, descriptors
reactions.py     stories -> what followed each write, restart and end of a link; cases.py: as cases of a write
conduct.py       reactions -> keys of a device file
security.py      how it pairs, and what its attributes need
writing.py       all of it -> the file, each line with its source, what was not seen at its head
"""
