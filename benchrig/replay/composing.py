"""A story → the device file of a unit that does it again.

Requests go by their number: what the third read was answered is answered to the third read. What the unit did on its own
goes by the time after the request before it (key `unasked`). All values are bytes, as they were.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from benchrig.radio.virtual.device_spec import DEVICE_NAME, GENERIC_ACCESS
from benchrig.radio.virtual.gatt_spec import LONGEST_VALUE
from benchrig.radio.virtual.writing import fit_name
from benchrig.replay.answers import on_read, on_write, value_of
from benchrig.replay.story import Advertised, Asked, Characteristic, Descriptor, Service, Story, Unasked
from benchrig.replay.wording import decoded, hex_text, time_text
from benchrig.source.layout import Layout, Path
from benchrig.source.writing import Bare
from benchrig.text.escape import plain
from benchrig.values.catalogue import name_of

MOST_DATA = 31
LONGEST_COMMENT = 1000
NEVER = "1 h"  # a restart that nobody has seen the end of
UNNAMED = "unit"
MANY = 1000  # connection requests of a unit that took none
_LISTED = frozenset(
    {"devices", "services", "characteristics", "descriptors", "unasked", "on_start", "on_display", "sometimes"}
)


@dataclass
class DeviceText:
    """The data of a device file with its comments; `text` is the file."""

    data: dict[str, Any] = field(default_factory=dict)
    comments: dict[Path, str] = field(default_factory=dict)

    def text(self, head: Iterable[str]) -> str:
        said = {path: plain(text, LONGEST_COMMENT) for path, text in self.comments.items()}
        return Layout(said, _LISTED).text(self.data, [plain(line, LONGEST_COMMENT) for line in head])


def compose(story: Story) -> DeviceText:
    made = DeviceText({"device": fit_name(story.name) or UNNAMED})
    _Composing(story, made).all()
    return made


def together(devices: Sequence[DeviceText]) -> DeviceText:
    """In one file."""
    if len(devices) == 1:
        return devices[0]
    comments = {("devices", at, *path): text for at, one in enumerate(devices) for path, text in one.comments.items()}
    return DeviceText({"devices": [one.data for one in devices]}, comments)


@dataclass
class _Composing:
    story: Story
    made: DeviceText

    def all(self) -> None:
        data, story = self.made.data, self.story
        if story.address:
            data["address"] = story.address
        if story.address_type == "public":
            data["address_type"] = "public"
        if story.mtu:
            data["mtu"] = min(max(story.mtu, 23), 517)
        self._advertising()
        if story.security or story.faults:
            data["security"] = story.security | ({"faults": story.faults} if story.faults else {})
            self._say(("security",), "as it paired in the run")
        self._faults()
        self._actions()
        if story.displays:
            data["on_display"] = [{"print": text} for text in story.displays]
        if story.slow:
            data["on_request"] = {"delay": Bare(time_text(story.slow, 3))}
        if story.console:
            data["console"] = [
                {"matches": re.escape(sent), **({"print": "\n".join(lines)} if lines else {})}
                for sent, lines in story.console.items()
            ]
        if story.services and not any(one.uuid == GENERIC_ACCESS for one in story.services):
            data["generic_access"] = False
        if story.services:
            data["services"] = [self._service(index, one) for index, one in enumerate(story.services)]

    def _say(self, path: Path, text: str) -> None:
        if text:
            self.made.comments[path] = text

    def _lack(self, what: str) -> None:
        if what not in self.story.lacks:
            self.story.lacks.append(what)

    # --- on the air

    def _advertising(self) -> None:
        heard = self.story.advertised
        if heard is None:
            return
        if heard.level is not None:
            spread = {"spread": Bare(f"{heard.spread:.1f} dB")} if heard.spread >= 0.05 else {}
            self.made.data["rssi"] = {"mean": Bare(f"{heard.level:.1f} dBm".replace(".0 ", " ")), **spread}
            self._say(("rssi",), "mean of what was heard")
        self.made.data["advertising"] = self._advertised(heard)

    def _advertised(self, heard: Advertised) -> dict[str, Any]:
        keys: dict[str, Any] = {}
        if heard.interval is not None:
            keys["interval"] = Bare(time_text(min(max(heard.interval, 0.02), 10.24)))
        if self.story.again_after:
            keys["again_after"] = Bare(time_text(self.story.again_after))
        if not heard.connectable:
            keys["connectable"] = False
        if heard.scannable and not heard.connectable:
            keys["scannable"] = True
        for key, octets in (("data", heard.data), ("scan_response", heard.response)):
            if octets or key == "data":
                keys[key] = {"raw": hex_text(octets[:MOST_DATA])}
            if len(octets) > MOST_DATA:
                self._lack(f"what it advertises beyond {MOST_DATA} bytes")
        return keys

    def _faults(self) -> None:
        story, faults = self.story, dict[str, Any]()
        if story.advertised is None:
            faults["stop_advertising_after"] = Bare("0 s")
        elif story.silent_after is not None:
            faults["stop_advertising_after"] = Bare(time_text(story.silent_after + 0.010))
        if story.refused:
            links = any(one.kind == "connect" for one in story.asked)
            faults["refuse_connections"] = story.refused if links else MANY
        if faults:
            self.made.data["faults"] = faults
            self._say(("faults",), "as far as it was heard")

    # --- what it did on its own

    def _actions(self) -> None:
        started = [entry for one in self.story.started for entry in self._deeds([one])]
        if started:
            self.made.data["on_start"] = started
        entries: list[dict[str, Any]] = []
        for asked in self.story.asked:
            for deed in self._deeds(asked.then) if asked.counts else ():
                self._say(("unasked", len(entries)), self._when(asked))
                entries.append({"after": self._occasion(asked), **deed})
        if entries:
            self.made.data["unasked"] = entries

    def _when(self, asked: Asked) -> str:
        return f"from {asked.at:.3f} s on" + (f", step {asked.step}" if asked.step else "")

    def _occasion(self, asked: Asked) -> dict[str, Any]:
        number = next(at for at, one in enumerate(self.story.of(asked.kind, asked.key), 1) if one is asked)
        told: dict[str, Any] = {asked.kind: asked.key if asked.key else True}
        return told if number == 1 else {**told, "number": number}

    def _deeds(self, then: Iterable[Unasked]) -> Iterable[dict[str, Any]]:
        """Actions: values of one characteristic are one of them."""
        sent: dict[str, dict[str, list[str]]] = {}
        others = []
        for one in then:
            if one.deed == "sends":
                sent.setdefault(one.key, {}).setdefault(time_text(one.after, 3), []).append(hex_text(one.value))
            else:
                others.append(self._deed(one))
        for key, values in sent.items():
            timed = {Bare(time): texts[0] if len(texts) == 1 else texts for time, texts in values.items()}
            yield {"notify": {key: {"timed": timed}}}
        yield from others

    def _deed(self, one: Unasked) -> dict[str, Any]:
        delay = {"delay": Bare(time_text(one.after))} if one.after else {}
        if one.deed == "prints":
            return {**delay, "print": one.text}
        if one.deed == "vanishes":
            return {**delay, "reboot": Bare(NEVER if one.back is None else time_text(one.back))}
        if one.back is None:
            return {**delay, "sleep": "for good", "disconnect": True}
        sleep = {"sleep": Bare(time_text(one.back))} if one.back_known and one.back else {}
        return {**delay, **sleep, "disconnect": True}

    # --- the table

    def _service(self, index: int, service: Service) -> dict[str, Any]:
        path = ("services", index, "characteristics")
        listed = [self._characteristic((*path, at), one) for at, one in enumerate(service.characteristics)]
        return {"service": name_of(service.uuid, "service") or service.uuid, "characteristics": listed}

    def _characteristic(self, path: Path, one: Characteristic) -> dict[str, Any]:
        written = name_of(one.uuid, "characteristic") or one.uuid
        keys: dict[str, Any] = {"characteristic": written}
        if one.key != written:
            keys["name"] = one.key
        keys |= {"as": "hex", "properties": one.properties}
        value, known = value_of(self.story, one)
        if not known and one.uuid == DEVICE_NAME:
            value = self.story.name.encode()
        if value is not None:
            keys["raw"] = hex_text(value[:LONGEST_VALUE])
            self._say((*path, "raw"), decoded(one.uuid, value) if known else "")
            if not known:
                self._lack("values that nobody has read: they are empty, or the name")
        keys |= self._conduct(one)
        if one.has_cccd is False:
            keys["cccd"] = False
        if one.subscribe_needs and one.has_cccd is not False:
            keys["subscribe_needs"] = one.subscribe_needs
        if one.others:
            keys["descriptors"] = [self._descriptor(part) for part in one.others]
        return keys

    def _conduct(self, one: Characteristic) -> Mapping[str, Any]:
        blocks = {"on_read": on_read(self.story, one), "on_write": on_write(self.story, one)}
        return {key: block for key, block in blocks.items() if block}

    def _descriptor(self, part: Descriptor) -> dict[str, Any]:
        written = name_of(part.uuid, "descriptor") or part.uuid
        keys: dict[str, Any] = {"descriptor": written, "raw": hex_text(part.value or b"")}
        return {**keys, "writable": True} if part.writable else keys
