"""benchrig: YAML test plans for Bluetooth LE devices, run over a host radio."""

from __future__ import annotations

__version__ = "0.1.0"

__all__ = ["__version__"]
