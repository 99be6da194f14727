"""How a unit paired, as far as the steps of a record tell it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from benchrig.radio.security import REASONS
from benchrig.record.model import Execution
from benchrig.replay.pairing import accepted
from benchrig.replay.story import Story

_FAILED = re.compile(r"the pairing failed: (.*?)(?: \((.*)\))?$")
# What a unit has to have, so that a bench with this capability gets a passkey.
_SHOWING = {"keyboard": "display", "keyboard and display": "display", "display": "keyboard", "yes/no": "keyboard"}


def tell_pairing(story: Story, step: Execution, found: Mapping[str, Any], message: str) -> None:
    bench = step.planned.name.removeprefix("pair ")
    failed = _FAILED.search(message)
    method = found.get("method")
    reason = failed[1] if failed else str(found.get("failure") or "")
    if method == "passkey" or reason == "confirm value failed" or "confirm value failed" in message:
        story.security["capability"] = _SHOWING.get(bench, "display")
    elif method == "numeric comparison" or reason == "numeric comparison failed":
        story.security["capability"] = "yes/no"
    if found.get("secure_connections") is False:
        story.security["pairing"] = "legacy"
    if found.get("bonded") is False:
        story.security["bonding"] = False
    if isinstance(found.get("key_size"), int):
        story.security["key_size"] = max(found["key_size"], story.security.get("key_size", 7))
    _tell_failure(story, bench, message, reason, failed[2] if failed else "")


def _tell_failure(story: Story, bench: str, message: str, reason: str, by: str | None) -> None:
    if "benchrig alone noticed" in message:
        story.faults["unchecked"] = True
    elif reason == "pairing not supported":
        story.security["bondable"] = False
    elif reason.startswith("timeout"):
        story.faults["silent_at"] = "pairing request"
        story.guesses.append("at which PDU of the pairing the unit fell silent")
    elif "the link was lost in the pairing" in message:
        story.faults["disconnects_at"] = "pairing request"
        story.guesses.append("at which PDU of the pairing the unit ended the link")
    elif reason == "authentication requirements":
        story.security["accepts"] = accepted(bench == "none", legacy=bench != "none")
    elif reason == "encryption key size":
        story.security["least_key_size"] = 16
    elif by == "the device refused" and reason in REASONS.values() and reason != "confirm value failed":
        story.faults["refuses"] = reason


def tell_encryption(story: Story, message: str) -> None:
    if "has no key for this bond" in message:
        story.faults["forgets_bonds"] = "disconnection"
