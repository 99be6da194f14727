"""Gauge studies: how much of what a station reads is the station.

Units × repeats × appraisers, or one unit again and again. A study is a folder: its design in `study.yaml`, the runs in
`runs/`. What has been measured is what the records there say, so that a study survives whatever ends it.

design.py     the file, and the order in which units are measured
asking.py     what a plan can be asked for: its readings, a serial number
counting.py   what a run on record counts for, or why it does not
state.py      what the folders of a study hold, and what is missing
placing.py    simulated units, put on the air one at a time
conducting.py one measurement, from the design to its record
figure.py     what the study comes to
telling.py    how far it is, as data
"""
