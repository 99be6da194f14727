"""The screen of the line: a view in, cells on a terminal out; keys in, lines out. Knows of no radio and no run.

engine.py   what the screen needs of a line
letters.py  very large words, of own shapes
pieces.py   lines of styled text: cut, filled up, side by side
slots.py    a slot as a rectangle
around.py   what is around the slots: who, messages and questions, figures, the last units
layout.py   where all of it is on a screen of a given size
typing.py   keys to lines, as a barcode reader and a person type them
seen.py     which question somebody had time to read
ticking.py  ticks in real time
writing.py  what is written to a terminal, from a thread
screen.py   the application
"""
