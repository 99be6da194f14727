"""What a server must answer (Core Vol 3 Part C 10.3.1, Part F 3.4.1.1): permissions first, then security. Who lacks
encryption gets 0x05 where the server has no key for it, and 0x0F where it has; who is encrypted by a key that is too weak
gets 0x05."""

from __future__ import annotations

from dataclasses import dataclass

from benchrig.radio.security import LARGEST_KEY, SMALLEST_KEY, Level
from benchrig.values.access import ALLOWED, LEVELS, REFUSED, Need, Operation
from benchrig.values.att_errors import (
    CCCD_IMPROPER,
    INSUFFICIENT,
    INSUFFICIENT_AUTHENTICATION,
    INSUFFICIENT_ENCRYPTION,
    KEY_TOO_SHORT,
    READ_NOT_PERMITTED,
    WRITE_NOT_PERMITTED,
)
from benchrig.values.catalogue import att_error_name

ANY_ERROR = frozenset(range(1, 0x100))
# An operation that has no answer was without effect: nobody knows why.
UNTOLD = -1
# What came after the answer: a value that changed all the same, one that did not, a subscription that cannot be ended.
STORED, NOT_STORED, NOT_ENDED = -2, -3, -4
_FOUND = {
    0: ALLOWED,
    UNTOLD: REFUSED,
    STORED: "refused, and stored all the same",
    NOT_STORED: "allowed, and not stored",
    NOT_ENDED: "allowed, and its end refused",
}


@dataclass(frozen=True)
class Over:
    """A link: how far it is protected, whether the device has a key for this peer from before (None: nobody knows), and
    the size of the key that encrypts it. `words` name it."""

    level: Level
    has_key: bool | None = False
    words: str = ""
    key_size: int = LARGEST_KEY

    @property
    def label(self) -> str:
        return self.words or self.level.words


@dataclass(frozen=True)
class Expected:
    """What is right: allowed, or refused with one of these errors."""

    allowed: bool
    errors: frozenset[int] = frozenset()
    words: str = ALLOWED

    def fits(self, code: int) -> bool:
        """`code` is 0 for what was allowed, UNTOLD for a refusal without an answer."""
        if code == 0 or self.allowed:
            return code == 0 and self.allowed
        return code == UNTOLD or code in self.errors


def expected(
    operation: Operation, need: Need, over: Over, *, strict: bool, key_size: int = SMALLEST_KEY
) -> Expected | None:
    """None where nothing is judged. `key_size` is that of the key that an operation with a need asks for."""
    if need == "any":
        return None
    if need != "never" and not (codes := _insufficient(LEVELS.index(need), over, key_size)):
        return Expected(True)
    if operation == "write without response":
        return Expected(False, words=REFUSED)
    if need == "never":
        errors = _not_permitted(operation)
        return Expected(False, errors if strict else ANY_ERROR, _in_words(errors, strict=strict, loosely="any error"))
    loosely = "any insufficient … error"
    return Expected(False, codes if strict else INSUFFICIENT, _in_words(codes, strict=strict, loosely=loosely))


def _not_permitted(operation: Operation) -> frozenset[int]:
    if operation == "read":
        return frozenset({READ_NOT_PERMITTED})
    if operation == "subscribe":
        return frozenset({WRITE_NOT_PERMITTED, CCCD_IMPROPER})
    return frozenset({WRITE_NOT_PERMITTED})


def _insufficient(need: int, over: Over, key_size: int) -> frozenset[int]:
    """The errors that are right for a link that is protected too little, none for one that is enough."""
    if over.level >= need:
        return frozenset({KEY_TOO_SHORT} if need and over.key_size < key_size else ())
    if over.level is not Level.NO_SECURITY or over.has_key is False:
        return frozenset({INSUFFICIENT_AUTHENTICATION})
    return frozenset({INSUFFICIENT_ENCRYPTION} | (set() if over.has_key else {INSUFFICIENT_AUTHENTICATION}))


def _in_words(errors: frozenset[int], *, strict: bool, loosely: str) -> str:
    return " or ".join(att_error_name(code) for code in sorted(errors)) if strict else loosely


def found_words(code: int) -> str:
    return _FOUND.get(code) or att_error_name(code)
