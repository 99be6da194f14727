"""benchrig: YAML test plans for Bluetooth LE devices, run over a host radio.

What a function of a `call` step works with: the `Bench` that it is handed, `Quantity` and `Value` for what it returns, the
errors that say who is to blame. They are imported when they are asked for, so that the command line is instant.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchrig.errors import AttError, BenchrigError, LinkLost, OperatorError, StationError, StepFailed
    from benchrig.steps.lent import Bench
    from benchrig.steps.returned import Value
    from benchrig.values.quantity import Quantity

__version__ = "0.6.0"

__all__ = [
    "AttError",
    "Bench",
    "BenchrigError",
    "LinkLost",
    "OperatorError",
    "Quantity",
    "StationError",
    "StepFailed",
    "Value",
    "__version__",
]

_HOMES = {
    "Bench": "benchrig.steps.lent",
    "Quantity": "benchrig.values.quantity",
    "Value": "benchrig.steps.returned",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'benchrig' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES.get(name, "benchrig.errors")), name)
