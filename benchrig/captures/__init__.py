"""Captures of HCI traffic, ours and those of other programs, read back.

btsnoop.py      the file: packets with their times
hci.py          packets → what happened: reports, links, PDUs put together from their fragments
"""
