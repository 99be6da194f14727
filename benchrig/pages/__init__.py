"""Pages about many runs, made of a history: of a set of runs, and of one unit.

links.py       from a page to the pages of runs, in a way that holds when both are moved together
words.py       numbers, shares and moments for people
yields.py      yield: first pass and final, over time, what failed, what does not count
reading.py     one reading over many runs, in few numbers
readings.py    readings: in one table, then with histogram and control chart
capability.py  the capability of a reading
revisions.py   readings over firmware revisions
studies.py     gauge studies that the runs belong to; study_values.py their values, and the run of each
curves.py      what is drawn
whole_set.py   the page of a set of runs
life.py        the runs of one unit
checks.py      what a golden or known-bad unit read when it checked the station
whole_unit.py  the page of a unit
"""
