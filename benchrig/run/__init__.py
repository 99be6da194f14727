"""Running a plan: Plan -> events.

runner.py    order, deadlines, attempts, what depends on what, clean-up
bench.py     what the steps work on          stream.py     readings of many samples
choose.py    which steps a run takes         outcome.py    what the steps add up to
station.py   the station file                jsonable.py   values as they go into the record
"""
