"""Which faulty units a plan passes.

trial.py        one run of a plan in a scene, in memory, and what it came to
"""
