"""Values that were seen of good devices -> limits that a plan can have.

proposal.py    a proposed limit, the reason for it, and when it is a guess
numeric.py     limits for numbers; tolerance.py tolerance intervals
texts.py       patterns for texts
value.py       a limit for each reading that a value gives
"""
