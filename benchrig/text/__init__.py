"""Text from a device and values of a record, made safe for people and outputs. Below all that shows something.

escape.py  made safe and bounded
field.py   a field of a structure
tables.py  plain tables in the terminal
columns.py, wrapping.py, chart.py, durations.py  text in the room that there is
"""
