"""A test plan from devices that are known to be good.

evidence.py      what was seen: snapshots of devices, streams of notifications
from_devices.py  gets it from devices; from_files.py from saved inspections and records
attributes.py    the same by attribute; naming.py what attributes are called in the plan
streams.py       limits for what is sent; advertised.py for the scan; table.py the attribute table
selecting.py     which devices the plan picks
compose.py       steps, and the plan as a whole; saving.py its file
"""
