"""What is written of a step in the plan as the run kept it, and in another revision: whether it does the same."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from benchrig.record.events import PlannedNode, PlanSource
from benchrig.record.secrets import MASK
from benchrig.source.nodes import as_written
from benchrig.source.problem import Problems
from benchrig.source.yaml import Mapping, Node, Sequence, read_text

# What another revision may say otherwise of a step that does the same; what is in it is compared by itself.
_BESIDE = frozenset({"expect", "name", "proves", "on_fail", "only_after", "only_if", "save", "keep_samples", "device",
                     "steps", "first", "finally"})  # fmt: skip


# Limits of a plain read that its bytes, or nothing of its value, decide.
_BY_BYTES = frozenset({"value", "raw", "length", "elapsed", "att_error", "failure"})


class StepTexts:
    """The steps of the files of a plan, by where they begin; what these say of attributes, by name; and of shared steps their
    parameters, with all that the plan includes."""

    def __init__(self, sources: Iterable[PlanSource]) -> None:
        self._steps: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
        self.attributes: dict[str, Any] = {}
        self.parameters: dict[str, Any] = {}
        self.included: list[dict[str, Any]] = []
        for source in sources:
            problems = Problems()
            node = read_text(_readable(source.text), source.file, problems) if not source.left_out else None
            for each in _mappings(node) if node is not None and not problems.found else ():
                written = as_written(each)
                self._steps[f"{source.file}:{each.place.line}"].append(written)
                named = written.get("attributes")
                self.attributes |= named if isinstance(named, dict) else {}
                self.included += [written] if "use" in written else []
                given = written.get("given") if "plan" not in written else None
                self.parameters |= given if isinstance(given, dict) else {}

    @property
    def is_kept(self) -> bool:
        return bool(self._steps)

    def step(self, node: PlannedNode) -> dict[str, Any] | None:
        """None where the text was not kept, or does not tell which one it is."""
        found = [each for each in self._steps.get(node.place, ()) if node.kind in each]
        return found[0] if len(found) == 1 else None


def _readable(text: str) -> str:
    """With what stands for a secret as the text that it is."""
    mask = re.escape(MASK)
    return re.sub(rf"(?m)^ *{mask}$", "", re.sub(rf"(?m): {mask}$", f": '{MASK}'", text))


def _mappings(node: Node) -> Iterator[Mapping]:
    if isinstance(node, Mapping):
        yield node
    parts = [part for _, part in node.entries.values()] if isinstance(node, Mapping) else []
    for part in node.items if isinstance(node, Sequence) else parts:
        yield from _mappings(part)


def differing(before: dict[str, Any] | None, after: dict[str, Any] | None) -> str:
    """The first key that makes it do something else; '' for none, and where the text is not known."""
    if before is None or after is None:
        return ""
    keys = [key for key in {**before, **after} if key not in _BESIDE]
    return next((f"'{key}'" for key in keys if before.get(key) != after.get(key)), "")


class Reread:
    """The attributes that two revisions say different things of, by the names and the UUIDs that a step may write; and the
    parameters of shared steps, where what is included differs."""

    def __init__(self, before: StepTexts, after: StepTexts) -> None:
        one, other = before.attributes, after.attributes
        names = [name for name in {**one, **other} if before.is_kept and one.get(name) != other.get(name)]
        alike = (before.included, before.parameters) == (after.included, after.parameters)
        self._arguments = {*before.parameters, *after.parameters} if before.is_kept and not alike else set()
        self._words = {name: {str(name), *_uuids(one.get(name)), *_uuids(other.get(name))} for name in names}

    def by(self, written: dict[str, Any] | None, subject: str) -> str:
        """What a step would do or read in another way, of all that it has on record; '' for nothing, and for a read whose
        bytes are on record."""
        if written is not None and (name := self._argument(written)):
            return f"argument '{name}'"
        if not self._words or written is None or _is_by_bytes(written) or not _is_about_values(written):
            return ""
        said = [each.casefold() for each in [*_strings(written), subject]]
        for name, words in self._words.items():
            if any(word.casefold() in each or each.startswith("handle ") for word in words for each in said):
                return f"way to read '{name}'"
        return ""

    def _argument(self, written: dict[str, Any]) -> str:
        """A parameter of shared steps that decides what the step does; its limits are judged with the value of now."""
        own = [value for key, value in written.items() if key not in ("expect", "steps", "first", "finally")]
        said = [each for each in _strings(own) if "${" in each] if self._arguments else []
        return next((name for name in sorted(self._arguments) for each in said if name in each), "")


def _uuids(definition: Any) -> list[str]:
    uuid = definition.get("uuid") if isinstance(definition, dict) else definition
    return [] if uuid is None else [f"{uuid:04X}" if isinstance(uuid, int) else str(uuid).removeprefix("0x"), str(uuid)]


def _is_by_bytes(written: dict[str, Any]) -> bool:
    limits = written.get("expect") or {}
    plain = "read" in written and not {"until", "save"} & written.keys()
    return plain and isinstance(limits, dict) and _BY_BYTES.issuperset(limits)


def _is_about_values(written: dict[str, Any]) -> bool:
    """Of a step with steps in it only limits on readings of these, which have a dot, are."""
    if not {"steps", "first"} & written.keys():
        return True
    own = [written.get("expect"), written.get("save")]
    return any("." in str(name) for each in own if isinstance(each, dict) for name in each)


def _strings(written: Any) -> Iterator[str]:
    """All that is written, but for names of steps and requirements."""
    if isinstance(written, dict):
        for key, value in written.items():
            if key not in ("name", "proves"):
                yield str(key)
                yield from _strings(value)
    elif isinstance(written, list):
        for value in written:
            yield from _strings(value)
    elif written is not None:
        yield f"{written:04X}" if isinstance(written, int) else str(written)


def same_limits(before: dict[str, Any] | None, after: dict[str, Any] | None) -> frozenset[str]:
    """The readings whose limit is written as it was."""
    written, now = ((each or {}).get("expect") for each in (before, after))
    if not isinstance(written, dict) or not isinstance(now, dict):
        return frozenset()
    return frozenset(str(name) for name, limit in now.items() if name in written and written[name] == limit)
