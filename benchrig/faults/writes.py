"""What goes wrong with values that are written: they are lost, late, refused, or go where they do not belong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from benchrig.faults import parts
from benchrig.faults.doings import doings
from benchrig.faults.fault import OF_LINK, Fault, Scene, on_unit
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, Mutation, behaving, replaced, within
from benchrig.faults.occasions import EACH, UNLIKELY, every, instead, since, when
from benchrig.faults.parts import At
from benchrig.radio.virtual.behaviour import Behaviour, When
from benchrig.radio.virtual.behaviours import AttError, CutTo, Delay, Disconnect, Ignore, Late, Reboot, Silent
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import PROPERTIES, UPDATES, WRITES, CharacteristicSpec
from benchrig.radio.virtual.reaction_spec import ActionSpec
from benchrig.values.quantity import Duration
from benchrig.values.text import BytesFormat

_AWAY, _LATE, _SLOW = Duration.of(2), Duration.of(2), Duration.of(3)


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    found = [one for one in parts.characteristics(scene.unit) if one.spec.property_bits & WRITES]
    for one in found:
        if _is_refused(one.spec):
            yield from _allowed(one)
        else:
            yield from _answers(one)
        if _is_kept(one.spec):
            yield from _lost(one) if _is_seen(one, scene.unit) else ()
            yield from _range(one)
            yield from _strayed(one, [each for each in parts.characteristics(scene.unit) if each.path != one.path])
            yield from _outlived(one) if _is_seen(one, scene.unit) else ()


def _is_refused(spec: CharacteristicSpec) -> bool:
    return any(each.is_answer and each.when == EACH for each in spec.on_write.behaviours)


def _is_kept(spec: CharacteristicSpec) -> bool:
    """Whether it is a value, and no command."""
    return spec.on_write.store and not _is_refused(spec)


def _is_seen(one: At, device: DeviceSpec) -> bool:
    """Whether its value is ever told, or decides on something."""
    names = re.compile(rf"\{{{re.escape(one.spec.called)}\b|^{re.escape(one.spec.called)}(\.|$)")
    told = (str(part) for doing in doings(device) for part in _parts_of(doing.spec))
    return bool(one.spec.property_bits & (PROPERTIES["read"] | UPDATES)) or any(map(names.search, told))


def _parts_of(spec: Any) -> Iterator[Any]:
    yield from getattr(spec, "only_if", ())
    yield from (spec.set, spec.notify, spec.print)


def _writes(times: When, behaviour: Behaviour) -> Change:
    return behaving("on_write", when(times, behaviour))


def _allowed(one: At) -> Iterator[Fault]:
    """What is for nobody to write."""
    kept = tuple(each for each in one.spec.on_write.behaviours if not each.is_answer)
    open_ = within("on_write", replaced(behaviours=kept))
    yield one.fault(
        "write", "written by anybody", "What is written to {it} must be refused, and is taken.", open_, "grave"
    )
    if any(isinstance(each, AttError) for each in one.spec.on_write.behaviours):
        other = instead("on_write", AttError(att_error=UNLIKELY))
        yield one.fault(
            "write", "refused with another error", "A write to {it} is refused with a wrong error.", other, "minor"
        )


def _answers(one: At) -> Iterator[Fault]:
    if one.spec.property_bits & PROPERTIES["write"]:
        refused = instead("on_write", AttError(att_error=UNLIKELY))
        yield one.fault("write", "write refused", "What is written to {it} is refused.", refused)
        silent = instead("on_write", Silent())
        yield one.fault("write", "write not answered", "A write to {it} is never answered.", silent)
        says = "A write to {it} is answered only after 3 s."
        yield one.fault("write", "write answered late", says, instead("on_write", Delay(delay=_SLOW)), "minor")
    ends = instead("on_write", Disconnect())
    yield one.fault("write", "write ends the link", "The link ends at a write to {it}.", ends, "serious", OF_LINK)
    resets = instead("on_write", Reboot(reboot=_AWAY))
    yield one.fault("write", "write resets", "The device starts again at a write to {it}.", resets, "grave", OF_LINK)


def _lost(one: At) -> Iterator[Fault]:
    says = "What is written to {it} is confirmed, and nothing comes of it."
    yield one.fault("write", "write ignored", says, _writes(EACH, Ignore()), "grave")
    says = "What is written to {it} is taken once; later writes are confirmed, and nothing comes of them."
    yield one.fault("write", "only the first write taken", says, _writes(since(2), Ignore()))
    says = "Each second time nothing comes of what is written to {it}."
    yield one.fault("write", "each second write ignored", says, _writes(every(2), Ignore()))
    says = "What is written to {it} is there only 2 s later."
    yield one.fault("write", "write taken late", says, _writes(EACH, Late(late=_LATE)))
    if (size := one.spec.longest()) > 1:
        says = "The last byte of what is written to {it} is lost."
        yield one.fault("write", "written without its last byte", says, _writes(EACH, CutTo(cut_to=size - 1)))


def _range(one: At) -> Iterator[Fault]:
    """What does not fit has to be refused. Bytes of any number fit where no format says more."""
    form = one.spec.format
    takes_all = form is None or (isinstance(form, BytesFormat) and form.size is None)
    if one.spec.on_write.check and not takes_all:
        says = "What does not fit {it} is taken all the same: values out of its range, too few or too many bytes."
        yield one.fault("write", "anything taken", says, within("on_write", replaced(check=False)), "grave")
    if one.spec.valid_min is not None or one.spec.valid_max is not None:
        says = "Values out of the range of {it} are taken."
        yield one.fault("write", "out of range taken", says, replaced(valid_min=None, valid_max=None), "grave")


def _strayed(one: At, others: list[At]) -> Iterator[Fault]:
    other = _neighbour(one, others)
    if other is None:
        return
    there: dict[str, Any] = {"set": {**one.spec.on_write.set, other.spec.called: "written"}}
    says = f"What is written to {{it}} goes to the {other.called} instead."
    yield one.fault(
        "write", f"written to the {other.called}", says, within("on_write", replaced(store=False, **there)), "grave"
    )
    says = f"What is written to {{it}} goes to the {other.called} too."
    yield one.fault("write", f"written to the {other.called} too", says, within("on_write", replaced(**there)), "grave")


def _neighbour(one: At, others: list[At]) -> At | None:
    """Another one whose value can be read: best one that is written too and has the same size, in the same service."""
    able = [each for each in others if each.spec.property_bits & PROPERTIES["read"] and each.spec.format is not None]

    def nearness(each: At) -> tuple[bool, ...]:
        kept = bool(each.spec.property_bits & WRITES) and _is_kept(each.spec)
        return kept, each.spec.longest() == one.spec.longest(), each.within[0] is one.within[0]

    return max(able, key=nearness, default=None)


def _outlived(one: At) -> Iterator[Fault]:
    if not one.spec.volatile:
        says = "What was written to {it} is lost when the device is without power."
        yield one.fault("write", "lost at a restart", says, replaced(volatile=True), "grave")
    value = one.spec.value
    if one.spec.raw is None and value is not None and not one.spec.source.pattern.runs_on:
        called = f"the {one.called}"
        back = ActionSpec(set={one.spec.called: value})
        forgets = within("on_disconnect", lambda present: [*present, back])
        name = f"{one.called}: lost with the link"
        says = f"What was written to {called} is lost when the link ends."
        yield Fault(name, "write", says, on_unit(Mutation(name, "", forgets)), "grave", subject=one.path)
