"""benchrig: YAML test plans for Bluetooth LE devices, run over a host radio.

What a function of a `call` step works with: the `Bench` it is handed, `Quantity` for what it returns, `StepFailed` for
a unit that does not do what it should. They are imported when they are asked for, so that the command line is instant.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchrig.errors import StepFailed
    from benchrig.steps.bench import Bench
    from benchrig.values.quantity import Quantity

__version__ = "0.3.0"

__all__ = ["Bench", "Quantity", "StepFailed", "__version__"]

_HOMES = {"Bench": "benchrig.steps.bench", "Quantity": "benchrig.values.quantity", "StepFailed": "benchrig.errors"}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'benchrig' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
