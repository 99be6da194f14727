"""What a run leaves behind.

events.py      events, and what they hold
model.py       the record that they add up to
executions.py  the tree of what is carried out, and its order
aggregate.py   events -> record
rounds.py      which rounds of a repetition stay, and tally.py what the others came to
journal.py     the record on disk
began.py       when a run began
format1.py     lines of an earlier format
secrets.py     what no event may tell
accounting.py  the fate of every limit
line_part.py   what a run was at a line; purposes.py the words for that
study_part.py  which measurement of a gauge study it was
"""
