"""Stored readings judged again, with no device: by other limits, or another revision of the plan.

facts.py       what a record says of an end: the error behind it, the ends of the run that no step made
typed.py       values of a record as they were when they were judged
limits.py      the limits of one execution over its readings again; streams.py those over many samples
matching.py    the executions of a record by the steps of a plan; texts.py what is written of them in both
sameness.py    whether it is what the run was judged by
given.py       the plan with the values of a run
walk.py        the way through the plan: what is left out now, what was not taken, what the whole comes to
leaf.py        one step without steps in it, inner.py one with them
record.py      one record; several.py the records of folders; results.py what they come to, as data

The judge is run/judge.py, the verdict run/outcome.py: those of a run.
"""
