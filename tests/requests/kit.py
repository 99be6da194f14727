"""A device that requests are drawn for."""

from __future__ import annotations

from benchrig.requests.table import Attribute, Target

LIMIT, LABEL, LEVEL, LEVEL_CONFIGURATION, SERIAL, KEPT, HIDDEN = 8, 10, 12, 13, 15, 17, 19
UPDATES = 1


def target(
    *, writable: tuple[int, ...] = (LIMIT, LABEL), protected: tuple[int, ...] = (KEPT,), mtu: int = 517
) -> Target:
    """Values that may be written and those that may not, one that tells itself and one that is not to be touched."""
    return Target.of(
        [
            *(Attribute(handle, "declaration", is_declaration=True) for handle in (1, 7, 9, 11, 14, 16, 18)),
            Attribute(LIMIT, "limit", writes=True, commands=True, value=b"\x01\x02"),
            Attribute(LABEL, "label", writes=True, value=b"hello"),
            Attribute(LEVEL, "level", value=b"\x5a", steady=False),
            Attribute(LEVEL_CONFIGURATION, "configuration", writes=True, value=b"\0\0", updates=UPDATES),
            Attribute(SERIAL, "serial", value=b"x" * 60),
            Attribute(KEPT, "kept", writes=True, value=b"\x07"),
            Attribute(HIDDEN, "hidden", reads=False),
        ],
        mtu,
        protected,
        writable,
    )
