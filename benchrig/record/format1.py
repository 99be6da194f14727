"""Lines of a record in format 1, read as events of today.

There, steps were a flat list with numbers, readings did not say their attempt, a device had no key, only the title of a
step named its attribute, and its message repeated the sentences of its readings without saying so.
"""

from __future__ import annotations

from typing import Any

import msgspec

KINDS = frozenset({"run", "unit", "step", "note", "attempt", "reading", "not judged", "end", "verdict"})
_NAMES_NOW = {"unit": "device", "step": "opened", "end": "closed"}
_WITH_ATTRIBUTE = frozenset({"read", "write", "notify", "exchange"})
_OF_AN_ATTEMPT = frozenset({"device", "note", "attempt", "reading"})


class Upgrade:
    """Takes the lines of one record in their order, as JSON data."""

    def __init__(self) -> None:
        self._attempts: dict[str, int] = {}
        self._broken: dict[str, dict[str, str]] = {}
        self._at = 0.0

    def line(self, data: dict[str, Any]) -> dict[str, Any]:
        """The same in today's format. ValidationError for what is no line of format 1."""
        try:
            return self._changed(data)
        except (KeyError, TypeError, AttributeError) as exc:
            raise msgspec.ValidationError(f"no line of format 1: {exc!r}") from exc

    def _changed(self, data: dict[str, Any]) -> dict[str, Any]:
        kind = str(data.get("event"))
        changed = {**data, "event": _NAMES_NOW.get(kind, kind)}
        if kind == "run":
            return _run(changed)
        self._timed(changed)
        if "root" in changed:
            changed["root"] = {"node": str(changed["root"])}
        return self._placed(changed, str(changed.pop("step"))) if "step" in changed else changed

    def _timed(self, data: dict[str, Any]) -> None:
        """The oldest readings do not tell when they were made: not before what stands above them."""
        if data["event"] == "reading":
            data.setdefault("at", self._at)
        self._at = data.get("at", self._at)

    def _placed(self, data: dict[str, Any], node: str) -> dict[str, Any]:
        where: dict[str, Any] = {"node": node}
        if data["event"] in _OF_AN_ATTEMPT:
            where["attempt"] = data.pop("attempt", self._attempts.get(node, 1))
        if data["event"] == "attempt":
            self._attempts[node] = where["attempt"] + 1
            self._broken.pop(node, None)
        if data["event"] == "reading":
            self._keep_sentence(data, self._broken.setdefault(node, {}))
        if data["event"] == "closed":
            data = {**data, **self._own(data.get("message", ""), self._broken.get(node, {}))}
        return {**data, "where": where}

    @staticmethod
    def _keep_sentence(data: dict[str, Any], broken: dict[str, str]) -> None:
        judgement = data.get("judgement")
        broken.pop(data["name"], None)
        if judgement and not judgement["passed"]:
            broken[data["name"]] = judgement["sentence"]

    @staticmethod
    def _own(message: str, broken: dict[str, str]) -> dict[str, str]:
        said = "; ".join(broken.values())
        return {"own": message.removesuffix(said).removesuffix("; ")} if said else {}


def _run(data: dict[str, Any]) -> dict[str, Any]:
    nodes = [{"id": str(step["number"]), "subject": _subject(**step), **step} for step in data["steps"]]
    return {**data, "nodes": nodes, "format": 2}


def _subject(name: str, kind: str, **_: Any) -> str:
    """The attribute in the words of the plan; '' for a step with a name of its own."""
    verb, _blank, rest = name.partition(" ")
    return rest if verb == kind and kind in _WITH_ATTRIBUTE else ""
