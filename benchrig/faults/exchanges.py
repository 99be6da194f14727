"""What goes wrong with the answers to commands, whatever the command was: of characteristics that send them, and of the
console."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.faults import parts
from benchrig.faults.doings import commands
from benchrig.faults.fault import OF_DEVICE, OF_LINK, Fault, Scene, Weight, on_unit
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, Mutation, behaving, replaced, within
from benchrig.faults.occasions import EACH, at, every, since, when
from benchrig.faults.parts import At
from benchrig.radio.virtual.behaviour import Behaviour, When
from benchrig.radio.virtual.behaviours import Again, CutTo, Delay, Disconnect, Double, Reboot, Silent, Swap
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.reaction_spec import ActionSpec
from benchrig.radio.virtual.words import Hex
from benchrig.values.quantity import Duration

_LATE, _AWAY = Duration.of(3), Duration.of(2)
_NOISE = "W (1042) heap 0x2000"


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    device = scene.unit
    answering = set(_answering(device))
    for one in parts.characteristics(device):
        if one.spec.called in answering:
            yield from _sent(one)
            yield from _last_pieces(one, device)
    if device.console or any(doing.print for doing in device.on_start):
        yield from _console()


def _answering(device: DeviceSpec) -> Iterator[str]:
    """The names of the characteristics that send answers to writes."""
    for doing in commands(device):
        yield from (name.partition(".")[0] for name in doing.spec.notify)


def _sent(one: At) -> Iterator[Fault]:
    for kind, says, times, behaviour, weight in _SENT:
        change = behaving("on_notify", when(times, behaviour))
        causes = OF_LINK if isinstance(behaviour, Disconnect | Reboot) else OF_DEVICE
        yield one.fault("exchange", kind, says, change, weight, causes)


_SENT: tuple[tuple[str, str, When, Behaviour, Weight], ...] = (
    ("answers late", "Answers in {it} come only after 3 s.", EACH, Delay(delay=_LATE), "serious"),
    ("answers twice", "Each answer in {it} comes twice.", EACH, Double(), "minor"),
    ("never answers", "No answer comes in {it}.", EACH, Silent(), "serious"),
    ("first answer missing", "The first answer in {it} does not come.", at(1), Silent(), "serious"),
    ("second answer missing", "The second answer in {it} does not come.", at(2), Silent(), "serious"),
    ("answers what was asked before", "From the second on, each answer in {it} is the first one again.", since(2),
     Again(), "grave"),
    ("answers in another order", "Each second answer, or part of one, in {it} comes behind the next.", every(2), Swap(),
     "serious"),
    ("answers of one byte", "Of each answer in {it} only the first byte comes.", EACH, CutTo(cut_to=1), "serious"),
    ("answer ends the link", "The link ends instead of the second answer in {it}.", since(2), Disconnect(), "serious"),
    ("answer resets", "The device starts again instead of the second answer in {it}.", every(2), Reboot(reboot=_AWAY),
     "grave"),
)  # fmt: skip


def _last_pieces(one: At, device: DeviceSpec) -> Iterator[Fault]:
    """What ends an answer in several pieces."""
    for doing in commands(device):
        value = doing.spec.notify.get(one.spec.called)
        if isinstance(value, dict) and value.get("last"):
            last = when(When(starts_with=Hex.from_source(value["last"])), Silent())
            says = f"The last piece of an answer in the {one.called} does not come."
            yield one.fault("exchange", "last piece missing", says, behaving("on_notify", last))
            return


def _console() -> Iterator[Fault]:
    def fault(kind: str, says: str, weight: Weight, change: Change) -> Fault:
        name = f"console: {kind}"
        return Fault(name, "exchange", says, on_unit(Mutation(name, "", change)), weight)

    yield fault("deaf", "The console answers no line.", "serious", replaced(console=[]))
    talks = ActionSpec(print=_NOISE)
    says = "The console prints lines for developers whenever a link begins."
    yield fault("debug output left", says, "minor", within("on_connect", lambda present: [*present, talks]))
