"""Files and command lines that are nearly right, by the thousand: no traceback, no exit code but the table's.

python -m tests.fuzz [COUNT [SEED]]
"""
