"""Events of today as the lines that format 1 had for them: what was new then is left out."""

from __future__ import annotations

from typing import Any

import msgspec

from benchrig.record.events import AnyEvent

NAMES_THEN = {"device": "unit", "opened": "step", "closed": "end"}
NEW = ("nodes", "devices", "format", "where", "own", "tells", "sent", "subject", "device", "root")


def in_format_1(event: AnyEvent) -> dict[str, Any]:
    data: dict[str, Any] = msgspec.to_builtins(event)
    old = {key: value for key, value in data.items() if key not in NEW}
    old["event"] = NAMES_THEN.get(data["event"], data["event"])
    if "nodes" in data:
        old["steps"] = [_step(node) for node in data["nodes"]]
    if "where" in data:
        old["step"] = int(data["where"]["node"])
    if data["event"] == "attempt":
        old["attempt"] = data["where"].get("attempt", 1)
    if "root" in data:
        old["root"] = int(data["root"]["node"])
    return old


def _step(node: dict[str, Any]) -> dict[str, Any]:
    return {"number": int(node["id"])} | {key: value for key, value in node.items() if key not in (*NEW, "id")}
