"""What people and machines read of a record. Pure functions.

explain.py   what a step came to, in sentences
whole.py     what a run came to, in sentences
outline.py   the steps in the order of the plan, those of a repetition over its rounds
rows.py      the record as rows of a datalog
table.py     the terminal
files/       what a run writes, one file a report
registry.py  which reports there are
index.py     the line of each run in a results folder
place.py     what a report may take the place of
"""
