"""What a hunt came to as one HTML page that needs nothing else, made of `benchrig.html`.

style.py      what only this page looks like, and the filter
columns.py    the steps of a plan as columns
things.py     faults by what is broken
facts.py      the head: plan, device, how it was tried, how many came to what
lists.py      what escapes, what no step notices, requirements, arguments
matrix.py     steps by things, and steps by faults
whole.py      all of it
"""
