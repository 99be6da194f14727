"""What a session shows, as text: from the plain data of a verb to lines."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchrig.cli.content_text import attribute_title, content_line, content_lines, exchanged_lines, written_lines
from benchrig.source.problem import counted
from benchrig.text.escape import plain, value_text
from benchrig.values.quantity import number_text

if TYPE_CHECKING:
    from benchrig.desk.inspection import ServiceSeen

NAME_WIDTH = 28


def lines(result: dict[str, Any]) -> list[str]:
    """For people; everything from a device is escaped."""
    if "error" in result:
        return [plain(text, 1000) for text in (result["error"], result["advice"]) if text]
    return _TEXTS[result["verb"]](result)


def _scan(result: dict[str, Any]) -> list[str]:
    devices = result["devices"]
    count = counted(len(devices), "device")
    width = max((len(_name(device)) for device in devices), default=0)
    return [f"{count} in {_seconds(result['seconds'])}", *(_device(device, width) for device in devices)]


def _device(device: dict[str, Any], width: int) -> str:
    """A star before one that is meant."""
    mark = "*" if device["meant"] else " "
    services = plain(", ".join(device["services"]))
    level = f"{_level(device['rssi'])} dBm"
    return f"{mark} {_name(device):{width}}  {device['address']}  {level}  {services}".rstrip()


def _level(rssi: float | None) -> str:
    return f"{'?':>4}" if rssi is None else f"{rssi:4.0f}"


def _name(device: dict[str, Any]) -> str:
    return plain(device["name"], NAME_WIDTH) or "(no name)"


def _connect(result: dict[str, Any]) -> list[str]:
    if "lost" in result:
        return [f"the link to {plain(result['device'])} was lost: {plain(result['lost'])}"]
    who = f"{plain(result['device']) or '(no name)'} ({result['address']})"
    what = f"{result['services']} services, {result['characteristics']} characteristics"
    return [f"connected to {who} in {_seconds(result['elapsed'])}: {what}"]


def _service(service: ServiceSeen) -> list[str]:
    shown = [f"0x{service.handle:04X}  {attribute_title(service.name, service.uuid)}"]
    for each in service.characteristics:
        shown.append(
            f"0x{each.handle:04X}    {attribute_title(each.name, each.uuid)}: {', '.join(each.properties) or 'nothing'}"
        )
        shown += [f"0x{part.handle:04X}      {attribute_title(part.name, part.uuid)}" for part in each.descriptors]
    return shown


def _watch(result: dict[str, Any]) -> list[str]:
    name = plain(result["attribute"])
    if "begins" in result:
        return [f"watching {name}"]
    over = f"  ({result['passed_over']} before it not shown)" if "passed_over" in result else ""
    return [f"{name} +{result['seconds']:.3f} s: {content_line(result['content'])}{over}"]


def _unwatch(result: dict[str, Any]) -> list[str]:
    count = result["count"]
    rate = "" if result["rate"] is None else f", {number_text(float(format(result['rate'], '.4g')))} Hz"
    came = counted(count, "notification")
    return [f"{plain(result['attribute'])}: {came} in {_seconds(result['seconds'])}{rate}{_lost(result)}"]


def _lost(result: dict[str, Any]) -> str:
    """What the counter of a watch showed."""
    if "lost" not in result:
        return ""
    lost = "lost unknown" if result["lost"] is None else f"{result['lost']} lost"
    return f", {lost}, {result['duplicated'] or 0} duplicated"


def _save(result: dict[str, Any]) -> list[str]:
    remarks = [f"  {plain(remark, 1000)}" for remark in result.get("remarks", [])]
    return [f"{result['steps']} steps in {value_text(result['file'])}", *remarks]


def _help(result: dict[str, Any]) -> list[str]:
    verbs = result["verbs"]
    width = max(len(each["usage"]) for each in verbs)
    shown = []
    for each in verbs:
        shown.append(f"{each['usage']:{width}}  {each['meaning']}")
        if each["options"]:
            shown.append(f"{'':{width}}  {', '.join(each['options'])}")
    return shown


def _pair(result: dict[str, Any]) -> list[str]:
    from benchrig.desk.securing import paired_words

    if "failure" in result:
        return []  # the error behind it says so
    parts = [result.get(name) for name in ("method", "secure_connections", "authenticated", "key_size", "bonded")]
    level = f"; link: {result['level']}" if result["level"] else ""
    return [f"paired: {paired_words(*parts)}{level}"]


def _encrypt(result: dict[str, Any]) -> list[str]:
    if "failure" in result:
        return []
    if "already" in result:
        return [f"the link is encrypted already: {result['already']}"]
    return [f"encrypted{f', key of {size} bytes' if (size := result.get('key_size')) else ''}"]


def _bonds(result: dict[str, Any]) -> list[str]:
    """One a line."""
    found = [
        f"{plain(bond['name']) or '(no name)'}  {bond['address']} ({bond['address_type']})  {plain(bond['method'])}"
        for bond in result["bonds"]
    ]
    return found or ["no bonds"]


def _seconds(seconds: float) -> str:
    return f"{number_text(float(format(seconds, '.3g')))} s"


_TEXTS: dict[str, Callable[[dict[str, Any]], list[str]]] = {
    "scan": _scan,
    "connect": _connect,
    "disconnect": lambda result: [f"disconnected from {plain(result['device'])}"],
    "table": lambda result: [line for service in result["services"] for line in _service(service)],
    "read": lambda result: content_lines(result["attribute"], result["content"]),
    "write": written_lines,
    "exchange": exchanged_lines,
    "watch": _watch,
    "unwatch": _unwatch,
    "pair": _pair,
    "encrypt": _encrypt,
    "unpair": lambda result: [
        f"the bond with {plain(result['device'])} is forgotten" if result["bonded"] else "there was no bond"
    ],
    "bonds": _bonds,
    "wait": lambda result: [f"waited {_seconds(result['seconds'])}"],
    "save": _save,
    "help": _help,
}
