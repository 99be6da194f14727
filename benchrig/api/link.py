"""A connected unit, and what a plan can do with one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from benchrig.api.done import Done, Measured
from benchrig.api.place import calling_place
from benchrig.api.stream import Stream
from benchrig.api.verbs import Asked, Data, Time, awaited
from benchrig.api.words import duration
from benchrig.values.quantity import Duration, Quantity


class ConnectedLink(Asked):
    """A link to a unit, for as long as its context is open. Its methods are the steps of plans, with their keys."""

    @awaited
    async def read(
        self, name: str, /, *, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> Any:
        """Read an attribute: a Quantity where its format has a unit, a number, a text, bytes without a format, a mapping for a
        structure. None where a limit on att_error let the device refuse."""
        return (await self.step("read", name, expect=expect, within=within, **keys)).value

    @awaited
    async def write(
        self,
        name: str,
        /,
        value: object = None,
        *,
        raw: bytes | str | None = None,
        expect: Data | None = None,
        within: Time | None = None,
        **keys: object,
    ) -> Done:
        """Write an attribute: a value in its format, or bytes (`raw`)."""
        return await self.step("write", name, value=value, raw=raw, expect=expect, within=within, **keys)

    @awaited
    async def exchange(
        self,
        name: str,
        /,
        value: object = None,
        *,
        raw: bytes | str | None = None,
        reply: str | None = None,
        expect: Data | None = None,
        within: Time | None = None,
        **keys: object,
    ) -> Done:
        """Write a command, and take what answers: on the same attribute, or on `reply`. The answer is `done.value`."""
        keys |= {"value": value, "raw": raw, "reply": reply, "expect": expect, "within": within}
        return await self.step("exchange", name, **keys)

    @awaited
    async def notify(
        self,
        name: str,
        /,
        *,
        for_: Time | None = None,
        count: int | None = None,
        counter: str | None = None,
        expect: Data | None = None,
        within: Time | None = None,
        **keys: object,
    ) -> Mapping[str, Measured]:
        """Listen to what an attribute sends, for a time or a number of values: its readings, count, rate, gap_max, …"""
        keys |= {"for_": for_, "count": count, "counter": counter, "expect": expect, "within": within}
        return (await self._run.carry_out("notify", name, keys, self._device, wanted=None)).readings

    def stream(
        self,
        name: str,
        /,
        *,
        counter: str | None = None,
        expect: Data | None = None,
        quiet: Time = "10 s",
        **keys: object,
    ) -> Stream:
        """What an attribute sends, value by value, for as long as the context is open; other steps go on meanwhile. Limits
        are those of notify; StepTimeout when no value comes for `quiet`."""
        keys |= {"counter": counter, "expect": expect}
        place = calling_place()
        return Stream(self._run, self._device, name, keys, duration(quiet, place), place)

    @awaited
    async def discover(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Look at the table of attributes, and hold it against what is expected."""
        return await self.step("discover", expect=expect, within=within, **keys)

    @awaited
    async def pair(self, as_: str, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Pair, as a bench with these means: 'none', 'display', 'keyboard', …"""
        return await self.step("pair", as_, expect=expect, within=within, **keys)

    @awaited
    async def encrypt(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Encrypt the link with the key of the bond."""
        return await self.step("encrypt", expect=expect, within=within, **keys)

    @awaited
    async def unpair(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Give up the bond: the link ends."""
        return await self.step("unpair", expect=expect, within=within, **keys)

    @awaited
    async def reboot(
        self, steps: Sequence[Data], *, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> Done:
        """Carry out steps, the last of which makes the unit restart, and connect to it again."""
        return await self.step("reboot", steps=steps, expect=expect, within=within, **keys)

    @awaited
    async def lost(self, within: Time) -> Quantity:
        """Wait for the unit to end the link: after how long it did. LimitFailed when it does not."""
        time = duration(within, calling_place())
        whole = Duration.from_source(time + Quantity(1, "s"))
        done = await self.step("wait", time, within=whole, expect={"lost_after": {"max": time}})
        return done["lost_after"]  # type: ignore[no-any-return]

    @awaited
    async def connect(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Connect again, after the link was lost or ended."""
        return await self.step("connect", expect=expect, within=within, **keys)

    @awaited
    async def disconnect(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """End the link before the end of its context."""
        return await self.step("disconnect", expect=expect, within=within, **keys)
