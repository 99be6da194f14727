"""What goes wrong with values that a device sends by itself, in a period."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchrig.faults import parts
from benchrig.faults.fault import OF_LINK, Fault, Scene
from benchrig.faults.leaves import varies
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, behaving, within
from benchrig.faults.mutation import replaced as with_keys
from benchrig.faults.occasions import EACH, at, every, since, when
from benchrig.faults.parts import At
from benchrig.faults.references import changed_values
from benchrig.radio.virtual.behaviour import Behaviour, When
from benchrig.radio.virtual.behaviours import (
    Again,
    CutTo,
    Delay,
    Disconnect,
    Double,
    Reboot,
    Silent,
    Swap,
    Under,
)
from benchrig.radio.virtual.gatt_spec import NotifySpec
from benchrig.values.quantity import Duration
from benchrig.values.share import Share

# A stream with a shorter period is a fast one: more of its values are waited for.
_FAST = 0.5
# Its values are counted with those that a bench hears in its usual few seconds.
_SOON, _SOON_OF_FAST = 2, 20
_RARELY = Share.from_source("1 %")
_AWAY = Duration.of(2)


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    found, touched = list(parts.characteristics(scene.unit)), changed_values(scene.unit)
    for one in found:
        plan: NotifySpec | None = one.spec.notify
        if plan is not None:
            yield from _rates(one, plan)
            yield from _ends(one, plan)
            yield from _values(one, plan, varies(one, touched))
            yield from _subscribers(one)
            yield from _strangers(one, found)


def _soon(plan: NotifySpec) -> int:
    return _SOON_OF_FAST if plan.period.seconds < _FAST else _SOON


def _sent(times: When, behaviour: Behaviour) -> Change:
    return behaving("on_notify", when(times, behaviour))


def _planned(**keys: Any) -> Change:
    return within("notify", with_keys(**keys))


def _rates(one: At, plan: NotifySpec) -> Iterator[Fault]:
    period = plan.period.seconds
    slow, fast = Duration.of(period * 2), Duration.of(period / 2)
    yield one.fault(
        "stream", "half the rate", "Values of {it} come half as often as they should.", _planned(period=slow)
    )
    yield one.fault(
        "stream", "twice the rate", "Values of {it} come twice as often as they should.", _planned(period=fast), "minor"
    )
    drift = Duration.of(period * 1.1)
    yield one.fault(
        "stream", "10 % slower", "Values of {it} come a tenth slower than they should.", _planned(period=drift)
    )
    uneven = Duration.of(plan.jitter.seconds + period / 2)
    says = "Values of {it} come unevenly: each up to half a period late."
    yield one.fault("stream", "uneven", says, _planned(jitter=uneven), "minor")
    burst = _planned(burst=10 if period < _FAST else 2)
    yield one.fault("stream", "in bursts", "Values of {it} are held back and come several at once.", burst)
    pause = Delay(delay=Duration.of(max(1.0, period * 5)))
    soon = _soon(plan)
    yield one.fault("stream", f"pauses after {soon} values", "Values of {it} pause once, and then continue.",
                  _sent(at(soon + 1), pause))  # fmt: skip
    late = Delay(delay=Duration.of(max(2.0, period * 3)))
    yield one.fault("stream", "begins late", "The first value of {it} comes late.", _sent(at(1), late), "minor")


def _ends(one: At, plan: NotifySpec) -> Iterator[Fault]:
    soon = _soon(plan)
    yield one.fault("stream", "never sent", "Nothing of {it} comes, whoever subscribes.", _sent(EACH, Silent()))
    if plan.count is None or plan.count > soon:
        says = f"After {soon} values nothing more of {{it}} comes."
        yield one.fault("stream", f"stops after {soon} values", says, _planned(count=soon))
    end = _sent(since(soon + 1), Disconnect())
    yield one.fault(
        "stream", f"ends the link after {soon} values", "The link ends while values of {it} come.", end, causes=OF_LINK
    )
    reset = _sent(every(soon + 1), Reboot(reboot=_AWAY))
    says = f"The device starts again after {soon} values of {{it}}."
    yield one.fault("stream", f"restarts after {soon} values", says, reset, "grave", OF_LINK)


def _values(one: At, plan: NotifySpec, may_vary: bool) -> Iterator[Fault]:
    soon = _soon(plan)
    often = 10 if plan.period.seconds < _FAST else 2
    now_and_then = every(often)
    yield one.fault(
        "stream", "1 % lost", "One value of {it} in a hundred is lost.", _sent(When(share=_RARELY), Silent()), "minor"
    )
    lost = _sent(at(soon), Silent())
    yield one.fault("stream", "a value lost", "One value of {it} is lost.", lost)
    yield one.fault(
        "stream", "values lost", f"One of each {often} values of {{it}} is lost.", _sent(now_and_then, Silent())
    )
    yield one.fault("stream", "doubled", "Each value of {it} comes twice.", _sent(EACH, Double()))
    yield one.fault("stream", "a value doubled", "One value of {it} comes twice.", _sent(at(soon), Double()), "minor")
    yield one.fault(
        "stream",
        "out of order",
        "Now and then two values of {it} come in the wrong order.",
        _sent(now_and_then, Swap()),
    )
    if may_vary:
        says = f"After {soon} values of {{it}} the same one comes again and again."
        yield one.fault("stream", f"the same after {soon} values", says, _sent(since(soon + 1), Again()), "grave")
    size = one.spec.longest()
    if size > 1:
        says = "The last byte is missing from values of {it} that are sent."
        yield one.fault("stream", "sent without its last byte", says, _sent(EACH, CutTo(cut_to=size - 1)))


def _subscribers(one: At) -> Iterator[Fault]:
    says = "Values of {it} come before anybody has subscribed to them."
    yield one.fault("stream", "sent unasked", says, _planned(early=True), "minor")
    says = "Values of {it} continue after unsubscribing."
    yield one.fault("stream", "sent after unsubscribing", says, _planned(goes_on=True), "minor")


def _strangers(one: At, found: list[At]) -> Iterator[Fault]:
    """Another characteristic that sends, or else the one that comes next."""
    others = [each for each in found if each.path != one.path]
    other = next((each for each in others if each.spec.notify), next(iter(others), None))
    if other is not None:
        under = Under(under=other.spec.called)
        says = f"Values of {{it}} come as if they were those of the {other.called}."
        yield one.fault("stream", "under another handle", says, _sent(EACH, under), "grave")
        says = f"Now and then a value of {{it}} comes as one of the {other.called}."
        yield one.fault("stream", "a value under another handle", says, _sent(at(_soon(one.spec.notify)), under))
