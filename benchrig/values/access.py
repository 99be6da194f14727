"""What an attribute must ask for before it may be used, and what was found of that: words and plain data, for the record
and the reports."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

import msgspec

Operation: TypeAlias = Literal["read", "write", "write without response", "subscribe"]
# What an operation needs: nothing, a link that is protected so far; or it is never permitted, or not judged
Need: TypeAlias = Literal["open", "encrypted", "authenticated", "secure connections", "never", "any"]

OPERATIONS: tuple[Operation, ...] = get_args(Operation)
NEEDS: tuple[Need, ...] = get_args(Need)
# Those of a link, from the least to the most
LEVELS: tuple[Need, ...] = ("open", "encrypted", "authenticated", "secure connections")
ALLOWED, REFUSED = "allowed", "refused"


class AccessCell(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """One operation on one attribute over one link."""

    link: str  # how far it is protected: 'no security', 'encrypted', …
    expected: str = ""  # 'allowed', or the names of the ATT errors that are right; '' where nothing is judged
    found: str = ""  # 'allowed', 'refused' without a reason, or the name of an ATT error; '' where it was not tried
    way: str = ""  # the request that found it, where it is not the usual one of the operation
    why: str = ""  # why it was not tried
    differs: bool = False


class AccessRow(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """One operation on one attribute, over links of rising protection."""

    attribute: str
    operation: str
    needs: str
    cells: list[AccessCell] = []

    @property
    def differences(self) -> list[str]:
        return [
            f"{self.attribute}, {self.operation}, {cell.link}: expected {cell.expected}, "
            f"found {cell.found}{f' ({cell.way})' if cell.way else ''}"
            for cell in self.cells
            if cell.differs
        ]
