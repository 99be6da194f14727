"""What a run leaves behind.

model.py       events, and the record they add up to
executions.py  the tree of what is carried out, and its order
aggregate.py   events -> record
rounds.py      which rounds of a repetition stay, and tally.py what the others came to
journal.py     the record on disk
format1.py     lines of an earlier format
secrets.py     what no event may tell
accounting.py  the fate of every limit
"""
