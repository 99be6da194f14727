"""Running a plan: Plan -> events.

runner.py      before the first step and after the last     walk.py       the way through the tree of the plan
execution.py   a step once: its attempts, its end           context.py    one attempt, and what it gives: readings.py
judge.py       limits, and nothing else                     stream.py     readings of many samples
control.py     interruptions, and the time that is left     outcome.py    what the steps add up to
choose.py      which steps a run takes                      station.py    the station file
"""
