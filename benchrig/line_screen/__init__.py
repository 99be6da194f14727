"""The screen of the line: a view in, cells on a terminal out; keys in, lines out. Knows of no radio and no run.

engine.py   what the screen needs of a line
letters.py  very large words, of own shapes
layout.py   where all of it is on a screen of a given size
typing.py   keys to lines, as a barcode reader and a person type them
screen.py   the application
"""
