"""Several runs in one call.

finding.py   which plans folders and files name
repeated.py  the runs: each plan, and each repetition of it with a seed of its own
outcome.py   what each run came to, in short
tally.py     what the runs of a plan come to together, and all of them: the exit code
units.py     whether the runs were of one unit
begins.py    how a summary is told from another file
summary.py   all of it as Markdown, for a merge request
"""
