"""benchrig: YAML test plans for Bluetooth LE devices, run over a host radio; and the same steps for Python.

`open_radio` is where a test in Python begins. A function of a `call` step works with the `Bench` that it is handed,
`Quantity` and `Value` for what it returns, and the errors that say who is to blame. All of it is imported when it is asked
for, so that the command line is instant.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from benchrig.version import __version__

if TYPE_CHECKING:
    from benchrig import sync as sync
    from benchrig.api.done import Done, Measured
    from benchrig.api.link import ConnectedLink
    from benchrig.api.opening import open_radio
    from benchrig.api.radio import OpenedRadio
    from benchrig.api.unit import FoundUnit
    from benchrig.api.words import Secret
    from benchrig.errors import (
        AttError,
        BenchrigError,
        ConnectFailed,
        DeviceError,
        DeviceNotFound,
        InternalError,
        LimitFailed,
        LinkError,
        LinkLost,
        MalformedValue,
        NoAnswer,
        OperatorError,
        PlanError,
        StationError,
        StepFailed,
        StepTimeout,
        UsageError,
    )
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
    "ConnectFailed",
    "ConnectedLink",
    "DeviceError",
    "DeviceNotFound",
    "Done",
    "FoundUnit",
    "InternalError",
    "LimitFailed",
    "LinkError",
    "LinkLost",
    "MalformedValue",
    "Measured",
    "NoAnswer",
    "OpenedRadio",
    "OperatorError",
    "PlanError",
    "Quantity",
    "Record",
    "Secret",
    "StationError",
    "StepFailed",
    "StepTimeout",
    "UsageError",
    "Value",
    "__version__",
    "open_radio",
    "proofs",
    "read_record",
    "run_plan",
]

_HOMES = {
    "Bench": "benchrig.steps.lent",
    "ConnectedLink": "benchrig.api.link",
    "Done": "benchrig.api.done",
    "FoundUnit": "benchrig.api.unit",
    "Measured": "benchrig.api.done",
    "OpenedRadio": "benchrig.api.radio",
    "Quantity": "benchrig.values.quantity",
    "Record": "benchrig.record.model",
    "Secret": "benchrig.api.words",
    "Value": "benchrig.steps.returned",
    "open_radio": "benchrig.api.opening",
    "proofs": "benchrig.report.requirements",
    "read_record": "benchrig.record.journal",
    "run_plan": "benchrig.running",
}


# Modules that are there without being imported.
_MODULES = ("sync",)


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        return importlib.import_module(f"benchrig.{name}")
    if name not in __all__:
        raise AttributeError(f"module 'benchrig' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES.get(name, "benchrig.errors")), name)
