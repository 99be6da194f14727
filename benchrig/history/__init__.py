"""The history of runs: an index over the records on disk, in SQLite or PostgreSQL. It can be thrown away and rebuilt.

place.py      where it is: a file or a URL, without its password
choosing.py   which one counts: option, station file, environment, results folder
tables.py     what it holds
moments.py    moments as it keeps them, and as people read them
migrations/   how one of an earlier version becomes one of today
opening.py    a history that is open: its connections, one writer at a time
failures.py   errors of databases in plain words
entry.py      a record -> the rows of its run
adding.py     entries -> the history, each run once
folders.py    the folders of runs, found and read on all cores
filling.py    folders -> the history; a history made anew
waiting.py    the markers of runs that wait for it
delivery.py   a run that is over, and those that wait -> the history
checking.py   whether history and records say the same
questions/    what is asked of it
"""
