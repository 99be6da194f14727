"""What was read or written, for people: a value with its unit and its bytes. Everything from a device is escaped."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchrig.source.problem import counted
from benchrig.text.escape import hex_text, plain, with_unit
from benchrig.text.field import structure_lines
from benchrig.values.catalogue import short_uuid
from benchrig.values.readable import text_in

if TYPE_CHECKING:
    from benchrig.desk.inspection import Content


def attribute_title(name: str, uuid: str) -> str:
    """'battery level (2A19)'; the UUID alone where it has no name."""
    short = short_uuid(uuid)
    return short if name == short else f"{plain(name)} ({short})"


def octets(seen: Content) -> str:
    return f"[{hex_text(seen.raw)}]" if seen.raw else hex_text(seen.raw)


def content_lines(name: str, seen: Content) -> list[str]:
    """A value with its name and its bytes; a line for each field."""
    said, fields = _words(seen)
    return [f"{plain(name)}: {said}", *(f"  {line}" for line in fields)]


def content_line(seen: Content) -> str:
    """A value with its bytes; the fields of a structure one after the other."""
    said, fields = _words(seen)
    return f"{', '.join(fields)}  {octets(seen)}" if fields else said


def written_lines(result: dict[str, Any]) -> list[str]:
    """What was written, and what was read back."""
    if "stopped" in result:
        return [f"write {plain(result['attribute'])}: {result['stopped']}"]
    verb = "wrote" if result["response"] else "sent, without response,"
    lines = content_lines(f"{verb} {result['attribute']}", result["written"])
    back = result.get("read_back")
    return lines + (content_lines(f"read back {result['attribute']}", back) if back else [])


def exchanged_lines(result: dict[str, Any]) -> list[str]:
    """What was written, and what answered it."""
    if "stopped" in result:
        return [f"exchange {plain(result['attribute'])}: {result['stopped']}"]
    verb = "wrote" if result["response"] else "sent, without response,"
    lines = content_lines(f"{verb} {result['attribute']}", result["written"])
    lines += content_lines(f"{result['reply']} answered", result["answer"])
    after = f"  after {result['response_time']:.3f} s"
    if "count" not in result:
        return [*lines, after]
    lost = f", {result['lost']} lost, {result['duplicated']} duplicated" if "lost" in result else ""
    return [*lines, f"{after}; {counted(result['count'], 'answer')} in {result['elapsed']:.3f} s{lost}"]


def _words(seen: Content) -> tuple[str, list[str]]:
    """What stands behind the name, and the fields."""
    if seen.wrong:
        return f"{seen.wrong}  {octets(seen)}", []
    if not seen.format:
        text = text_in(seen.data)
        return f"{hex_text(seen.raw)}{f'  as text: {plain(text)}' if text else ''}", []
    if isinstance(seen.value, dict):
        return f" {octets(seen)}", structure_lines(seen.value, seen.units)
    return f"{with_unit(seen.value, seen.unit)}  {octets(seen)}", []
