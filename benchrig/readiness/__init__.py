"""Whether this station can test: each radio looked at step by step, with what to do about every 'no'.

checks.py    what was found, radio by radio
survey.py    the radios of this machine, each looked at in a process of its own: probing.py is what runs there
devices.py   the devices and ports of a virtual radio
"""
