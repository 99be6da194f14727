"""Bad and odd requests to a device, without a radio.

request.py    what a request is: octets on a channel, or several things at once
wording.py    its text in a plan, and back
table.py      what is known of the device that gets it
right.py      which answers to it are right
drawing.py    requests of each kind, drawn from a seed
shrinking.py  the shortest list of them that still does it
"""
