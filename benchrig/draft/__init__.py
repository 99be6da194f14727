"""A test plan from devices that are known to be good.

evidence.py    what was seen: looks at devices, streams of notifications
collect.py     gets it from devices; saved.py from files
tolerance.py   tolerance intervals: from numbers to limits
propose.py     a limit for each reading, and the reason for it; numeric.py and texts.py for two kinds of values
selecting.py   which devices the plan picks
naming.py      what attributes are called in the plan
compose.py     steps, and the plan as a whole; write.py its text
"""
