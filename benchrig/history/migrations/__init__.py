"""How an older history becomes one of today: `versions/` has a file for each change of the tables, which is never edited once it
has been released.

upgrading.py  the version of a database, and the way to today's
"""
