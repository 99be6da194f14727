"""What a kind of radio does not offer. Known without opening one, so that `check` can say it.

A limit on such a reading is not judged on that radio: the record and the reports say so, and why.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

CCCD = "00002902-0000-1000-8000-00805f9b34fb"
NO_CCCD = "the operating system writes the client characteristic configuration itself, and nobody else may"

# 'step.reading' -> why this kind of radio has no such reading
_HOST = {
    "scan.interval": "the operating system hides repeated reports of a device, so an interval cannot be measured",
    "scan.count": "the operating system hides repeated reports of a device, so they cannot be counted",
    "discover.elapsed": "the operating system reads the table as part of the connection",
}

LACKS: dict[str, Mapping[str, str]] = {"host": _HOST, "virtual": {}, "hci": {}}

# (step, key, value) -> where this kind of radio may not be able to do it
MAY_FAIL: dict[str, Mapping[tuple[str, str, Any], str]] = {
    "host": {
        ("scan", "mode", "passive"): "Linux scans passively only when its Bluetooth service runs with --experimental, "
        "and macOS never does",
        ("connect", "fresh", True): "macOS does not forget the table of a device",
    },
    "virtual": {},
    "hci": {},
}
