"""The plans that ship, for an empty folder.

placing.py   which files there are, and how they get into a folder
building.py  how they get into the wheel: run by setuptools alone
"""
