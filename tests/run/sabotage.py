"""A device that does nothing of what it should while one step is at work: no answer, no notification, no value, no link,
no line."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest import mock

import benchrig.radio.virtual
from benchrig.radio.virtual.device import SimulatedDevice
from benchrig.radio.virtual.faults import DROPPED, AirPdu, Fate
from benchrig.radio.virtual.opening import OpenAir
from benchrig.record.events import AnyEvent, Closed, Opened

# ATT opcodes (Core Vol 3 Part F 3.4.8).
READ_RESPONSE, NOTIFICATION, INDICATION = 0x0B, 0x1B, 0x1D


def _no_answer(pdu: AirPdu) -> Fate:
    opcode = pdu.att_opcode
    is_response = opcode is not None and opcode % 2 and opcode not in (NOTIFICATION, INDICATION)
    return DROPPED if pdu.to_central and is_response else None


def _no_notification(pdu: AirPdu) -> Fate:
    return DROPPED if pdu.to_central and pdu.att_opcode in (NOTIFICATION, INDICATION) else None


def _no_value(pdu: AirPdu) -> Fate:
    """The same PDU with nothing behind its opcode and handle."""
    kept = {READ_RESPONSE: 1, NOTIFICATION: 3, INDICATION: 3}.get(pdu.att_opcode or 0)
    if not pdu.to_central or kept is None:
        return None
    return kept.to_bytes(2, "little") + pdu.data[2 : 4 + kept]


def _no_pairing(pdu: AirPdu) -> Fate:
    return DROPPED if pdu.to_central and pdu.data[2:4] == b"\x06\x00" else None


FATES = {
    "no answer": _no_answer,
    "no notification": _no_notification,
    "no value": _no_value,
    "no pairing": _no_pairing,
}
MODES = [*FATES, "link gone", "refused", "silent", "mute"]


@dataclass
class Saboteur:
    """Give `during` to a run: from the start of step `number` to its end the devices fail in this mode."""

    mode: str
    number: str
    airs: list[OpenAir] = field(default_factory=list)
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    _heard: dict[SimulatedDevice, list[Any]] = field(default_factory=dict)

    def during(self, _: Any, event: AnyEvent) -> None:
        if isinstance(event, (Opened, Closed)) and event.where.node == self.number:
            self._set(isinstance(event, Opened))

    def _set(self, on: bool) -> None:
        air = self.airs[-1]
        if self.mode in FATES:
            air.faults.fate = FATES[self.mode] if on else None
        for device in air.devices.values():
            advertiser = device.controller.advertiser
            if self.mode == "refused":
                advertiser.refuses = lambda: on
            elif self.mode == "mute":
                self._mute(device, on)
            elif self.mode == "silent":
                advertiser.until = asyncio.get_running_loop().time() if on else None
            elif self.mode == "link gone" and on:
                for connection in device.connections:
                    self._start(device.disconnect(connection))

    def _mute(self, device: SimulatedDevice, on: bool) -> None:
        if on:
            self._heard[device] = list(device.console_listeners)
        device.console_listeners[:] = [] if on else self._heard[device]

    def _start(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    @contextmanager
    def at_work(self) -> Iterator[Callable[[Any, AnyEvent], None]]:
        opening = benchrig.radio.virtual.open_air

        async def opened(*args: Any, **options: Any) -> OpenAir:
            self.airs.append(await opening(*args, **options))
            return self.airs[-1]

        with mock.patch.object(benchrig.radio.virtual, "open_air", opened):
            yield self.during
