"""The console of a unit: lines of text beside the radio.

lines.py     octets -> lines, whatever octets they are
console.py   one console: who listens, what no step has seen yet, what is sent
log.py       console.log in the folder of the run, bounded
choice.py    '--console' text -> where it is
wires.py     a serial line or a TCP connection that is a console
"""
