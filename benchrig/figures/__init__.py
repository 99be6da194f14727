"""Figures that are made of a history, as data: commands, JSON and pages show the same ones.

yields.py     how many units passed, first and finally
grouping.py   yields by station, firmware, hour …
failing.py    what units failed of
revisions.py  how a reading changes from one firmware to the next
head.py       what the figures of a reading begin with
capability.py how the spread of a reading compares with its limits
risk.py       what the station's uncertainty does to bad and good units
chart.py      control chart of a reading
drift.py      whether what a golden unit reads stays what it was
subgroups.py  values that were measured under like conditions
"""
