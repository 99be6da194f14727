"""What a developer does with a device on the desk, without a plan: look, read, write, watch, and leave with a plan.

desk.py         an open radio, and the device that is reached over it; running.py opens it
inspection.py   what one look at a device found, as plain data
inspecting.py   makes an inspection
paths.py        where an attribute stands; naming.py what it is called
watching.py     what a device sends; series.py one attribute of it, watch_file.py kept in a file
airlist.py      what is on the air
prompt/         a session; findings/ what is wrong with a device
"""
