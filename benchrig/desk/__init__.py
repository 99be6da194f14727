"""What a developer does with a device on the desk, without a plan: look, read, write, watch, and leave with a plan.

desk.py         an open radio, and the device that is reached over it; running.py opens it
inspection.py   what one look at a device found, as plain data
inspecting.py   makes an inspection
paths.py        where an attribute stands; naming.py what it is called
"""
