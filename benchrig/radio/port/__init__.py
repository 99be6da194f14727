"""HCI ports of the virtual air: each a controller for whatever host connects, a firmware built for the host machine.

choice.py      '--port' and '--start' text -> what to open; needs no Bluetooth library
opening.py     choices -> open ports with their programs
port.py        one port: hosts that come and go, the format of what they send
hosted.py      its controller: every command is answered
tcp.py, pty.py where hosts connect
program.py     a program that runs beside a port
radio.py       the virtual radio that knows about them
"""
