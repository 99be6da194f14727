"""The page of a run, for a browser: one file made of the record alone, which needs no script and fetches nothing.

whole.py      the page from its parts
head.py       the verdict, what decided it, what to do about it, who was tested with what
readings.py   every step with its readings against their limits
bars.py       a reading and its limits as a picture
samples.py    samples that were kept, over time
timeline.py   when each step ran, with its attempts
source.py     the text of the plan, with the verdict beside each line
octets.py     bytes that were sent and received, on demand
others.py     access matrices, what was not done, notes
bounds.py     how much of a long record is shown
style.py      what only this page looks like
"""
