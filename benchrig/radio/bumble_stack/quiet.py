"""bumble's log of packets, stopped: it holds keys and passkeys, and it takes time.

bumble writes `logger.debug(f'{color(...)} {packet}')`: the packet is formatted whether or not the line is wanted.
Measured over the virtual air, both ends in one process: 1.3 times as many reads and 1.65 times as many notifications
per second of CPU without it. Who wants the packets asks for a capture.
"""

from __future__ import annotations

import logging

from benchrig.radio.bumble_stack.bumble_api import find_types_first, stop_formatting

_done = False


def quiet_bumble() -> None:
    """Keep what bumble logs of packets out of every log, and make its formatting and its search for UUIDs cheap, once, for
    this process."""
    global _done
    logging.getLogger("bumble").setLevel(logging.WARNING)
    if not _done:
        _done = True
        stop_formatting()
        find_types_first()
