"""The same without async: for scripts and plain tests.

`with benchrig.sync.open_radio(…) as radio:` has the methods of `benchrig.open_radio`, with the same parameters; each does its
work in the event loop of a thread that belongs to the radio. Nothing is done a second way here. Several threads may ask at
once. Ctrl-C ends the step at hand, disconnects, closes the radio, and is raised.

On a virtual radio that loop has the virtual clock, which stands still between two calls: time passes in `wait` and in other
steps, not in `time.sleep`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Coroutine, Iterator, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from benchrig import running
from benchrig.api import link, opening, radio, stream, unit, verbs
from benchrig.api.done import Done, Measured
from benchrig.api.opening import File
from benchrig.api.place import asked_at, calling_place
from benchrig.api.verbs import Data, Time
from benchrig.loop_thread import LoopThread
from benchrig.radio.specify import RadioChoice, loop_factory
from benchrig.record.events import AnyEvent
from benchrig.record.model import Record
from benchrig.station.station import Station
from benchrig.steps.bench import Operator
from benchrig.values.quantity import Quantity

T = TypeVar("T")
W = TypeVar("W")


class Asked:
    """What may be asked of a radio, a unit and a link alike."""

    def __init__(self, thread: LoopThread, over: verbs.Asked) -> None:
        self._thread, self._asked = thread, over

    def step(self, verb: str, subject: object = None, **keys: object) -> Done:
        """Do a step of any kind: see the async form."""
        return _ask(self._thread, lambda: self._asked.step(verb, subject, **keys))

    def wait(self, time: Time) -> None:
        """Let time pass; a link that is lost meanwhile ends it: LinkLost."""
        return _ask(self._thread, lambda: self._asked.wait(time))

    def tolerating(self) -> AbstractContextManager[None]:
        """What fails in this context raises as ever, and does not decide about the run."""
        return self._asked.tolerating()  # a step is done in the context of who asks


class Stream:
    """Values as they come: `with link.stream(…) as values: for value in values: …`."""

    def __init__(self, thread: LoopThread, over: stream.Stream) -> None:
        self._thread, self._over = thread, over

    def __enter__(self) -> Self:
        _ask(self._thread, self._over.__aenter__)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return _ask(self._thread, lambda: self._over.__aexit__(kind, error, trace))

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> Any:
        """The next value; LinkLost, StepTimeout: see the async form."""
        try:
            return _ask(self._thread, self._over.__anext__)
        except StopAsyncIteration:
            raise StopIteration from None

    @property
    def statistics(self) -> Mapping[str, Measured]:
        """The readings of a notify step: count, rate, gap_max, gap_p95, lost, …"""
        return self._thread.get(lambda: self._over.statistics)


class ConnectedLink(Asked):
    """A link to a unit, for as long as its context is open. Its methods are the steps of plans, with their keys."""

    def __init__(self, thread: LoopThread, over: link.ConnectedLink) -> None:
        super().__init__(thread, over)
        self._over = over

    def read(self, name: str, /, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Any:
        """Read an attribute: a Quantity where its format has a unit, a number, a text, bytes, a mapping for a structure."""
        return _ask(self._thread, lambda: self._over.read(name, expect=expect, within=within, **keys))

    def write(
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
        return _ask(self._thread, lambda: self._over.write(name, value, raw=raw, expect=expect, within=within, **keys))

    def exchange(
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
        keys |= {"raw": raw, "reply": reply, "expect": expect, "within": within}
        return _ask(self._thread, lambda: self._over.exchange(name, value, **keys))  # type: ignore[arg-type]

    def notify(
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
        return _ask(self._thread, lambda: self._over.notify(name, **keys))  # type: ignore[arg-type]

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
        """What an attribute sends, value by value, for as long as the context is open; other steps go on meanwhile."""
        with asked_at(calling_place()):
            over = self._over.stream(name, counter=counter, expect=expect, quiet=quiet, **keys)
        return Stream(self._thread, over)

    def discover(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Look at the table of attributes, and hold it against what is expected."""
        return _ask(self._thread, lambda: self._over.discover(expect=expect, within=within, **keys))

    def pair(self, as_: str, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Pair, as a bench with these means: 'none', 'display', 'keyboard', …"""
        return _ask(self._thread, lambda: self._over.pair(as_, expect=expect, within=within, **keys))

    def encrypt(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Encrypt the link with the key of the bond."""
        return _ask(self._thread, lambda: self._over.encrypt(expect=expect, within=within, **keys))

    def unpair(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Give up the bond: the link ends."""
        return _ask(self._thread, lambda: self._over.unpair(expect=expect, within=within, **keys))

    def reboot(
        self, steps: Sequence[Data], *, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> Done:
        """Carry out steps, the last of which makes the unit restart, and connect to it again."""
        return _ask(self._thread, lambda: self._over.reboot(steps, expect=expect, within=within, **keys))

    def lost(self, within: Time) -> Quantity:
        """Wait for the unit to end the link: after how long it did. LimitFailed when it does not."""
        return _ask(self._thread, lambda: self._over.lost(within))

    def connect(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """Connect again, after the link was lost or ended."""
        return _ask(self._thread, lambda: self._over.connect(expect=expect, within=within, **keys))

    def disconnect(self, *, expect: Data | None = None, within: Time | None = None, **keys: object) -> Done:
        """End the link before the end of its context."""
        return _ask(self._thread, lambda: self._over.disconnect(expect=expect, within=within, **keys))


class FoundUnit(Asked):
    """One device, which the radio holds on to: the same one is meant from here on."""

    def __init__(self, thread: LoopThread, over: unit.FoundUnit) -> None:
        super().__init__(thread, over)
        self._over = over

    @property
    def address(self) -> str:
        """Where it was heard last."""
        return self._thread.get(lambda: self._over.address)

    @property
    def name(self) -> str:
        """What it is called in what it advertises; '' for nothing."""
        return self._thread.get(lambda: self._over.name)

    @property
    def rssi(self) -> Quantity | None:
        """How strong it was received last; None where the radio does not say."""
        return self._thread.get(lambda: self._over.rssi)

    def back(self, within: Time) -> Quantity:
        """Listen until the unit is heard again, after its link was lost or its power was off: after how long it was."""
        return _ask(self._thread, lambda: self._over.back(within))

    def power(self, switch: str, *, within: Time | None = None, **keys: object) -> Done:
        """Switch its power: 'down', 'up', 'cycle'. It needs a switch in the station file."""
        return _ask(self._thread, lambda: self._over.power(switch, within=within, **keys))

    def console(
        self, send: str | None = None, *, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> Done:
        """Send a line to its console, and look at what it prints."""
        return _ask(self._thread, lambda: self._over.console(send, expect=expect, within=within, **keys))

    def connect(
        self, *, attempts: int | None = None, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> AbstractContextManager[ConnectedLink]:
        """Connect; at the end of the context the link is ended, whatever happens in it."""
        with asked_at(calling_place()):
            context = self._over.connect(attempts=attempts, expect=expect, within=within, **keys)
        return _entered(self._thread, context, lambda over: ConnectedLink(self._thread, over))


class OpenedRadio(Asked):
    """Its context is open: see `open_radio`."""

    def __init__(self, thread: LoopThread, over: radio.OpenedRadio) -> None:
        super().__init__(thread, over)
        self._over = over

    @property
    def record(self) -> Record:
        """What the run has left so far."""
        return self._thread.get(lambda: self._over.record)

    @property
    def folder(self) -> Path | None:
        """Where the run leaves its record and its reports; None without results."""
        return self._over.folder

    def find(
        self,
        select: str | Data | None = None,
        *,
        unit: str = "",
        for_: Time | None = None,
        within: Time | None = None,
        expect: Data | None = None,
        **keys: object,
    ) -> FoundUnit:
        """Listen for a unit: a scan step. `select` is a name, or a selection as a plan has one; without it the device of the
        plan that `names` named is meant, of several the one that is called `unit`."""
        keys |= {"unit": unit, "for_": for_, "within": within, "expect": expect}
        over = _ask(self._thread, lambda: self._over.find(select, **keys))  # type: ignore[arg-type]
        return FoundUnit(self._thread, over)


def open_radio(
    radio: str | RadioChoice | None = None,
    *,
    names: File | None = None,
    given: Mapping[str, str] | None = None,
    station: File | Station | None = None,
    name: str = "",
    seed: int = 0,
    air: str | None = None,
    acknowledged: bool = False,
    caution: str = "",
    operator: Operator | None = None,
    results: File | None = None,
    capture: File | None = None,
    may_lack: tuple[str, ...] = (),
    history: File | None = None,
    real_time: bool = False,
) -> AbstractContextManager[OpenedRadio]:
    """See the async form. With `real_time` a virtual radio takes the time that it would take."""
    return over_thread(
        opening.open_radio(
            radio, names=names, given=given, station=station, name=name, seed=seed, air=air, acknowledged=acknowledged,
            caution=caution, operator=operator, results=results, capture=capture, may_lack=may_lack,
            history=history,
        ),
        real_time=real_time,
    )  # fmt: skip


@contextlib.contextmanager
def over_thread(context: opening.RadioContext, *, real_time: bool = False) -> Iterator[OpenedRadio]:
    """A radio in the loop of a thread of its own."""
    options = context.opening.options
    factory = loop_factory(options.radio, real_time=real_time or options.has_wire)
    with (
        LoopThread(factory, rests=factory is not None) as thread,
        _entered(thread, context, lambda over: OpenedRadio(thread, over)) as opened,
    ):
        yield opened


def run_plan(
    path: str | Path,
    *,
    radio: str | None = None,
    given: Mapping[str, Any] | None = None,
    station: str | Path | None = None,
    results: str | Path | None = None,
    device: str | Sequence[str] = (),
    only: Sequence[str] = (),
    from_: str | None = None,
    may_lack: Sequence[str] = (),
    seed: int = 0,
    air: str | None = None,
    console: str | None = None,
    capture: str | Path | None = None,
    limits: str | Path | None = None,
    keep_samples: int = 0,
    history: str | Path | None = None,
    acknowledged: bool = False,
    operator: Operator | None = None,
    watch: Callable[[AnyEvent], None] = lambda event: None,
    real_time: bool = False,
) -> Record:
    """See the async form. With `real_time` a virtual radio takes the time that it would take. Ctrl-C ends the step at hand; the
    finally steps are carried out, the record is written, and KeyboardInterrupt is raised."""
    factory = running.loop_for(radio, station, air, console, real_time=real_time)
    with LoopThread(factory, rests=factory is not None) as thread:
        return thread.call(
            lambda: running.run_plan(
                path, radio=radio, given=given, station=station, results=results, device=device, only=only, from_=from_,
                may_lack=may_lack, seed=seed, air=air, console=console, capture=capture, limits=limits,
                keep_samples=keep_samples, history=history, acknowledged=acknowledged, operator=operator, watch=watch,
            )
        )  # fmt: skip


def _ask(thread: LoopThread, begin: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """In the thread, on behalf of the line that asks."""
    with asked_at(calling_place()):
        return thread.call(begin)


@contextlib.contextmanager
def _entered(thread: LoopThread, context: AbstractAsyncContextManager[T], wrap: Callable[[T], W]) -> Iterator[W]:
    over = _ask(thread, context.__aenter__)
    try:
        yield wrap(over)
    except BaseException as raised:
        kind, error, trace = type(raised), raised, raised.__traceback__
        if not _ask(thread, lambda: context.__aexit__(kind, error, trace)):
            raise
    else:
        _ask(thread, lambda: context.__aexit__(None, None, None))
