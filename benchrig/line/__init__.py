"""The station that an operator works at: barcodes in, verdicts out. Knows of no screen.

view.py      what a screen shows, as data
"""
