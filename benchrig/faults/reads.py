"""What goes wrong when a value is read: no answer, a late one, an error, an old value, a device that does not bear it."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.faults import parts
from benchrig.faults.fault import OF_LINK, Fault, Scene
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import behaving, replaced, within
from benchrig.faults.occasions import UNLIKELY, instead, since, when
from benchrig.faults.parts import At
from benchrig.radio.virtual.behaviours import Again, AttError, Delay, Disconnect, Reboot, Silent
from benchrig.radio.virtual.gatt_spec import PROPERTIES, WRITES, CharacteristicSpec
from benchrig.values.quantity import Duration

_AWAY, _SLOW = Duration.of(2), Duration.of(3)


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for one in parts.characteristics(scene.unit):
        if one.spec.property_bits & PROPERTIES["read"]:
            yield from _refused(one) if _is_refused(one.spec) else _answers(one)


def _is_refused(spec: CharacteristicSpec) -> bool:
    return any(each.is_answer for each in spec.on_read.behaviours)


def _refused(one: At) -> Iterator[Fault]:
    """What is for nobody to read."""
    kept = tuple(each for each in one.spec.on_read.behaviours if not each.is_answer)
    open_ = within("on_read", replaced(behaviours=kept))
    yield one.fault("exchange", "read by anybody", "A read of {it} must be refused, and is answered.", open_, "grave")
    other = instead("on_read", AttError(att_error=UNLIKELY))
    yield one.fault(
        "exchange", "read refused with another error", "A read of {it} is refused with a wrong error.", other, "minor"
    )


def _answers(one: At) -> Iterator[Fault]:
    refused = instead("on_read", AttError(att_error=UNLIKELY))
    yield one.fault("exchange", "read refused", "A read of {it} is refused.", refused)
    silent = instead("on_read", Silent())
    yield one.fault("exchange", "read not answered", "A read of {it} is never answered.", silent)
    late = instead("on_read", Delay(delay=_SLOW))
    yield one.fault("exchange", "read answered late", "A read of {it} is answered only after 3 s.", late, "minor")
    ends = instead("on_read", Disconnect())
    yield one.fault("exchange", "read ends the link", "The link ends at a read of {it}.", ends, "serious", OF_LINK)
    resets = instead("on_read", Reboot(reboot=_AWAY))
    yield one.fault("exchange", "read resets", "The device starts again at a read of {it}.", resets, "grave", OF_LINK)
    if _changes(one.spec):
        old = behaving("on_read", when(since(2), Again()))
        yield one.fault(
            "exchange", "old value read", "A read of {it} gives the value of the first read again.", old, "grave"
        )


def _changes(spec: CharacteristicSpec) -> bool:
    """Whether another read may give another value."""
    return bool(spec.property_bits & WRITES) or len(spec.source.pattern.examples()) > 1 or spec.source.pattern.runs_on
