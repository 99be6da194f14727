"""The numbers of a pairing, passkeys and those that are compared: 000000 to 999999 (Core Vol 3 Part H 2.3.5)."""

from __future__ import annotations

import re

# How the question for one begins.
PASSKEY_ASKED = "Type the passkey that"
LARGEST_PASSKEY = 999_999
SIX_DIGITS = re.compile("[0-9]{6}")


def digits_of(number: int) -> str:
    """As it is shown and typed."""
    return f"{number:06}"


def typed_digits(text: str) -> str:
    """What was typed, without the spaces that make it easier to read."""
    return re.sub(r"\s", "", text)


def wrong_digits(text: str) -> str:
    """What is wrong with a passkey that was typed; '' for nothing."""
    return "" if SIX_DIGITS.fullmatch(typed_digits(text)) else "a passkey has six digits, for example 042517"
