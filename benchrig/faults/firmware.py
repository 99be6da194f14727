"""What goes wrong in the firmware behind the radio: states that are skipped or never end, timers, what is lost at a restart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from msgspec.structs import replace

from benchrig.faults import parts
from benchrig.faults.doings import Doing, doings
from benchrig.faults.fault import OF_LINK, Fault, Scene, Weight, on_unit
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Mutation, replaced, within
from benchrig.faults.parts import At
from benchrig.radio.virtual.behaviours import Delay, DeleteBonds, Disconnect, Reboot, Sleep
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.reaction_spec import ActionSpec
from benchrig.values.quantity import Duration

# What an action may fail to do, with the words for it.
_DOES: dict[Any, str] = {Reboot: "restart", Sleep: "sleep", Disconnect: "end the link", DeleteBonds: "delete the bonds"}
_LONG = Duration.of(60)


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    device = scene.unit
    for doing in doings(device):
        yield from _timers(doing)
        yield from _undone(doing)
        for field in ("set", "notify"):
            for name, value in getattr(doing.spec, field).items():
                yield from _courses(doing, field, name, value)
    for one in parts.characteristics(device):
        yield from _kept(one)
    yield from _restarts(device)


def _timers(doing: Doing) -> Iterator[Fault]:
    """Of actions that come later."""
    waits = [one for one in doing.spec.behaviours if isinstance(one, Delay)]
    if not isinstance(doing.spec, ActionSpec) or not waits:
        return
    for kind, factor, weight in (("twice as late", 2, "minor"), ("ten times as late", 10, "serious")):
        longer = Delay(delay=Duration.of(waits[0].delay.seconds * factor))
        says = f"What comes after {{it}} comes {kind}."
        yield doing.fault("firmware", kind, says, _other(waits[0], longer), weight, OF_LINK)  # type: ignore[arg-type]


def _other(one: Any, other: Any) -> Any:
    return within("behaviours", lambda present: tuple(other if each is one else each for each in present))


def _undone(doing: Doing) -> Iterator[Fault]:
    for behaviour in doing.spec.behaviours:
        if (words := _DOES.get(type(behaviour))) is None:
            continue
        left = within("behaviours", _without(behaviour))
        says = f"The device does not {words} at {{it}}."
        yield doing.fault("firmware", f"does not {words}", says, _or_gone(left), "grave", OF_LINK)
        if isinstance(behaviour, Reboot):
            long = _other(behaviour, Reboot(reboot=_LONG))
            yield doing.fault(
                "firmware", "restart takes 60 s", "The restart at {it} takes a minute.", long, "serious", OF_LINK
            )


def _without(one: Any) -> Any:
    return lambda present: tuple(each for each in present if each is not one)


def _or_gone(change: Any) -> Any:
    """An action that does nothing is none."""

    def changed(spec: Any) -> Any:
        left = change(spec)
        return None if isinstance(left, ActionSpec) and any(left.misfits()) else left

    return changed


# Values that go on by themselves

# What was opened stays open.
_FOR_GOOD: Mapping[str, Weight] = {"never comes to its end": "grave", "ends as it began": "grave"}


def _courses(doing: Doing, field: str, name: str, value: Any) -> Iterator[Fault]:
    for kind, says, other in _other_courses(value):
        change, weight = within(field, _named(name, other)), _FOR_GOOD.get(kind, "serious")
        yield doing.fault("firmware", f"{name} {kind}", says.replace("NAME", name), change, weight)


def _named(name: str, other: Any) -> Any:
    return lambda present: {**present, name: other}


def _other_courses(value: Any) -> Iterator[tuple[str, str, Any]]:
    states = value.get("states") if isinstance(value, dict) else None
    if isinstance(states, list) and len(states) > 1:
        *before, last = states
        for kind, factor in (("twice as long", 2.0), ("half as long", 0.5)):
            yield (
                kind,
                f"The NAME stays {kind} as it should after {{it}}.",
                {"states": [*map(_longer(factor), before), last]},
            )
        stays = [*before[:-1], {key: one for key, one in before[-1].items() if key != "for"}]
        yield "never comes to its end", "The NAME never comes to its end after {it}.", {"states": stays}
        yield "ends at once", "The NAME is at its end at once after {it}.", last["value"]
        back = [*before, {"value": before[0]["value"]}]
        yield "ends as it began", "The NAME ends as it began after {it}, and not as it should.", {"states": back}
    if isinstance(value, dict) and isinstance(value.get("ramp"), dict) and "over" in value["ramp"]:
        yield (
            "twice as long",
            "The NAME takes twice as long as it should after {it}.",
            {"ramp": _over(value["ramp"], 2)},
        )
        half = {**value["ramp"], "to": value["ramp"]["from"]}
        yield "stays where it begins", "The NAME stays where it begins after {it}.", {"ramp": half}


def _longer(factor: float) -> Any:
    return lambda state: {**state, "for": _times(state["for"], factor)} if "for" in state else state


def _over(ramp: dict[str, Any], factor: float) -> dict[str, Any]:
    return {**ramp, "over": _times(ramp["over"], factor)}


def _times(time: Any, factor: float) -> str:
    return str(Duration.of(Duration.from_source(time).seconds * factor))


# What is kept, and what is not


def _kept(one: At) -> Iterator[Fault]:
    if one.spec.volatile:
        says = f"The {one.called} does not begin anew at a restart."
        yield one.fault("firmware", "outlives a restart", says, replaced(volatile=False), "minor")


def _restarts(device: DeviceSpec) -> Iterator[Fault]:
    says = "After a restart all that was written or counted is as it was in the factory."
    name = "restart: everything lost"
    yield Fault(name, "firmware", says, on_unit(Mutation(name, "", _all_volatile)), "grave")


def _all_volatile(device: Any) -> Any:
    services = [replace(service, characteristics=[replace(one, volatile=True) for one in service.characteristics])
                for service in device.services]  # fmt: skip
    return replace(device, services=services)
