"""The history of runs: an index over the records on disk, in SQLite or PostgreSQL. It can be thrown away and rebuilt.

tables.py    what it holds
place.py     where it is: a file or a URL, without its password
opening.py   a history that is open: its connections, its version
entry.py     a record -> the rows of its run
adding.py    entries -> the history, each run once
"""
