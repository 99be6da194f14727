"""What a run leaves behind.

model.py      events, and the record they add up to
aggregate.py  events -> record
journal.py    the record on disk
"""
