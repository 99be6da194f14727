"""benchrig: YAML test plans for Bluetooth LE devices, run over a host radio.

What a function of a `call` step works with: the `Bench` that it is handed, `Quantity` and `Value` for what it returns, the
errors that say who is to blame. They are imported when they are asked for, so that the command line is instant.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from benchrig.version import __version__

if TYPE_CHECKING:
    from benchrig.errors import AttError, BenchrigError, LinkLost, OperatorError, StationError, StepFailed
    from benchrig.record.journal import read_record
    from benchrig.record.model import Record
    from benchrig.report.requirements import proofs
    from benchrig.running import run_plan
    from benchrig.steps.lent import Bench
    from benchrig.steps.returned import Value
    from benchrig.values.quantity import Quantity

__all__ = [
    "AttError",
    "Bench",
    "BenchrigError",
    "LinkLost",
    "OperatorError",
    "Quantity",
    "Record",
    "StationError",
    "StepFailed",
    "Value",
    "__version__",
    "proofs",
    "read_record",
    "run_plan",
]

_HOMES = {
    "Bench": "benchrig.steps.lent",
    "Quantity": "benchrig.values.quantity",
    "Record": "benchrig.record.model",
    "Value": "benchrig.steps.returned",
    "proofs": "benchrig.report.requirements",
    "read_record": "benchrig.record.journal",
    "run_plan": "benchrig.running",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'benchrig' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES.get(name, "benchrig.errors")), name)
