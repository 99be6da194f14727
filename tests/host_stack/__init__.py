"""The real Linux Bluetooth stack without a radio: a User-Mode Linux kernel with hci_vhci, bluetoothd, and our air.

kernel.py    builds and caches the kernel         kernel.config   what is switched on in it
guest.py     boots it, runs a program in it       init.sh         the guest's first process
air.py       in the guest: simulated devices on /dev/vhci
__main__.py  `python -m tests.host_stack PLAN DEVICE…` for people
"""
