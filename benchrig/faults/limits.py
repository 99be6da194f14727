"""What a plan says of the values of a device: what a value just outside is measured by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from benchrig.values.limit import Limit

# By the path of a characteristic (mutation.py); of a field of a structure: PATH.FIELD.
Limits: TypeAlias = Mapping[str, Sequence[Limit]]
NONE: Limits = {}
