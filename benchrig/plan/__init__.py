"""Plan files: text -> Plan.

model.py    the top of a plan, its steps with their places, given values
loader.py   reading, including, and every check that needs no radio
schema.py   the JSON Schema that editors use
"""
