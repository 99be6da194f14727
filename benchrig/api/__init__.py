"""What benchrig offers to Python: an open radio, a unit, a link, and the steps of plans as their methods.

One engine is behind plans and Python. Every method is a step of a plan: `words.py` makes its nodes of Python data,
`reading.py` has the reader of plans check it, `run.py` has the walk of runs carry it out, into the same record. So
limits, sentences, causes and deadlines are the same; nothing here judges.
"""
