"""Fixed channels of an LE link (Core Vol 3 Part A 2.1), and how long the packets of the security manager are."""

from __future__ import annotations

ATT, SIGNALLING, SMP = 0x0004, 0x0005, 0x0006
# Octets of each packet, with its code (Core Vol 3 Part H 3.3 to 3.6)
SMP_LENGTHS = {1: 7, 2: 7, 3: 17, 4: 17, 5: 2, 6: 17, 7: 11, 8: 17, 9: 8, 10: 17, 11: 2, 12: 65, 13: 17, 14: 2}
