"""What stands behind the pytest plugin: plans as items, a step each.

settings.py      options and ini keys -> radio, station, values, cases
ids.py           names of plans and steps -> node ids
collecting.py    files, plans and steps as nodes of pytest's tree
plan_run.py      the run behind the items of a plan, and what each of them comes to
stepping.py      a run that is carried out step by step
telling.py       what the terminal and pytest's JUnit file say of runs
distributing.py  which worker of pytest-xdist gets which items

And its fixtures, for Python tests:

fixtures.py      the fixtures themselves
wishes.py        marker, parameters, options -> a radio to open, a unit to find
loops.py         which loop an async test has
in_loop.py       whether a fixture can live in it
python_run.py    the run behind a test, what ended it, what its record says then
failing.py       what pytest says of a test that an error of benchrig has ended
"""
