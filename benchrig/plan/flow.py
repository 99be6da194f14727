"""What steps need of those before them, give to those after them, and end: read off their kinds. `check`, the choice of
steps and the run go by it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from benchrig.errors import (
    AmbiguousDevice,
    BenchrigError,
    DeviceNotFound,
    LinkLost,
    OperatorError,
    StepFailed,
    StepTimeout,
    WrongDevice,
)
from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.events import Where
from benchrig.source.problem import Problems
from benchrig.steps.base import Cap
from benchrig.steps.composite import Composite
from benchrig.steps.connect import CONNECTS, LISTENS
from benchrig.steps.returning import AFTER

OfDevice: TypeAlias = tuple[str, Cap]
_FINDS = frozenset({Cap.UNIT, Cap.LINK})
_LEFT = {Cap.LINK: "link", Cap.BOND: "bond"}


def touches_the_unit(step: StepPlan) -> bool:
    return bool(step.needs)


def balance(steps: Iterable[StepPlan]) -> tuple[set[OfDevice], set[OfDevice], set[OfDevice]]:
    """What several steps one after the other need of those before them, give to those after them, and end: of each
    device."""
    needs, gives, ends = set[OfDevice](), set[OfDevice](), set[OfDevice]()
    for step in steps:
        needed, given, ended = ({(step.device, cap) for cap in caps} for caps in (step.needs, step.gives, step.ends))
        needs |= needed - gives
        gives, ends = (gives | given) - ended, (ends | ended) - given
    return needs, gives, ends


# --- before the run


def check_flow(problems: Problems, nodes: Sequence[StepPlan]) -> None:
    """A step that needs the link must come after a connect and before the disconnect, in finally too: that goes on
    where the steps end. There a connect may come anywhere: nobody knows how far the run came. The same holds after any
    other step: the unit may have ended the link in it."""
    of_device: dict[str, list[StepPlan]] = {}
    for step in every_step(nodes):
        of_device.setdefault(step.device, []).append(step)
    for device, steps in of_device.items():
        _check_time_to_connect(problems, steps)
        _check_silence(problems, steps)
        _Flow(problems, device).through(nodes, _Link())


class _Link(NamedTuple):
    """What is known of the link between two steps. One that is `doubted` may be there or not."""

    up: bool = False
    doubted: bool = False
    # why it is not up
    why: str = "no connect step comes before it"
    # whether a step before may have ended one
    ended: bool = False

    def gone(self, step: StepPlan) -> _Link:
        """After a step that ends it."""
        return _Link(why=f"the link was ended by '{step.name}'", ended=True)

    def or_(self, other: _Link) -> _Link:
        """One of the two holds, and nobody knows which."""
        same = self.up == other.up and self.doubted == other.doubted
        ended = self.ended or other.ended
        return self._replace(ended=ended) if same else _Link(up=True, doubted=True, ended=ended)


class _Flow:
    """The way of the link of one device through the steps of a plan."""

    def __init__(self, problems: Problems, device: str) -> None:
        self._problems, self._device = problems, device
        # what is told, and what is known of a composite step: repetitions in repetitions would take their powers
        self._told: set[tuple[str, str]] = set()
        self._known: dict[tuple[str, _Link], _Link] = {}

    def through(self, steps: Iterable[StepPlan], link: _Link) -> _Link:
        for step in steps:
            if step.parts:
                after = self._composite(step, link)
            elif issubclass(step.kind, Composite):
                after = link  # the steps in it are missing, and that is told
            else:
                after = self._step(step, link) if step.device == self._device else link
            link = link.or_(after) if step.is_conditional else after
        return link

    def _step(self, step: StepPlan, link: _Link) -> _Link:
        if AFTER in step.named and not link.ended and Cap.LINK not in step.ends and step.section == "steps":
            message = f"'{step.name}' asks for {AFTER}, but no step before it ends a link"
            self._tell(step, message, f"put it behind the step that does, or take out {AFTER}")
        if Cap.LINK in step.gives:
            if link.up and not link.doubted and step.section == "steps":
                self._connected_already(step)
            return link._replace(up=True, doubted=False)
        self._check_needs(step, link)
        if Cap.LINK in step.ends:
            return link.gone(step)
        if Cap.LINK in step.needs:
            link = link._replace(up=True)
        return link._replace(doubted=link.up)

    def _composite(self, step: StepPlan, link: _Link) -> _Link:
        """What is in it, the second time from what the first time left; then what it does itself."""
        key = (step.id, link._replace(why=""))
        if key not in self._known:
            if step.device == self._device:
                self._check_needs(step, link)
                self._check_restart(step)
                self._check_held(step)
                link = link._replace(up=link.up or Cap.LINK in step.needs)
            after = self._inside(step, link)
            if step.is_repeated and after._replace(why="") != link._replace(why=""):
                after = self.through(step.children, after._replace(why=f"{after.why} in the round before"))
            self._known[key] = self._itself(step, after)
        return self._known[key]

    def _inside(self, step: StepPlan, link: _Link) -> _Link:
        for part in step.parts:
            if part.name in getattr(step.kind, "connects_for", ()) and step.device == self._device:
                link = link._replace(up=True, doubted=False)
            link = self.through(part.steps, link)
        return link

    def _check_restart(self, step: StepPlan) -> None:
        """In a step that waits for the unit to end the link nothing else may end it, and the last step must be one that can."""
        last = step.lets_go
        if not step.kind.wants_loss:
            return
        for inner in every_step(step.children):
            if Cap.LINK in inner.ends | inner.gives and inner is not last and inner.device == step.device:
                self._tell(inner, f"in '{step.name}' the unit itself ends the link", "take it out")
        # what needs a link and ends it does so from this side; what ends one without need of it takes the unit's power
        ends = last is not None and (last.kind.may_lose or Cap.LINK in last.ends - last.needs)
        if last is not None and (not ends or last.node.get("read_back")):
            message = f"'{last.name}' comes last in '{step.name}', but a link cannot end in it"
            self._tell(last, message, "end with what makes the unit restart: a write, wait, ask, call or command")

    def _check_held(self, step: StepPlan) -> None:
        """In a part that needs the link all the time nothing may end it."""
        held: frozenset[str] = getattr(step.kind, "keeps_link", frozenset())
        for inner in (each for part in step.parts if part.name in held for each in every_step(part.steps)):
            if Cap.LINK in inner.ends | inner.gives and inner.device == step.device:
                self._tell(inner, f"'{step.name}' needs the link for as long as '{inner.name}' runs", "take it out")

    def _itself(self, step: StepPlan, link: _Link) -> _Link:
        if step.device != self._device:
            return link
        if Cap.LINK in step.gives:
            return link._replace(up=True, doubted=False)
        return link.gone(step) if Cap.LINK in step.ends else link

    def _check_needs(self, step: StepPlan, link: _Link) -> None:
        if Cap.LINK in step.needs and not link.up:
            message = f"'{step.name}' needs a connection, but {link.why}"
            self._tell(step, message, "add - connect: before it")

    def _connected_already(self, step: StepPlan) -> None:
        message = f"'{step.name}' runs while the unit is connected already"
        self._tell(step, message, "take it out, or add - disconnect: before it")

    def _tell(self, step: StepPlan, message: str, advice: str) -> None:
        if (step.id, advice) not in self._told:
            self._told.add((step.id, advice))
            self._problems.add(step.place, message, advice)


def _check_silence(problems: Problems, steps: Sequence[StepPlan]) -> None:
    """The silence of a unit that nobody has heard proves nothing."""
    found = False
    for step in steps:
        silent = step.step is not None and step.step.expects_silence
        if silent and not found:
            message = f"'{step.name}' proves nothing: no step before it has heard the unit"
            problems.add(step.place, message, "add - scan: before it")
        found = found or (not silent and bool(_FINDS & step.gives))


def _check_time_to_connect(problems: Problems, steps: Sequence[StepPlan]) -> None:
    """A step that needs the unit without a scan before it listens first; each of its attempts has to have time for both."""
    first = next((step for step in steps if Cap.UNIT in step.needs | step.gives), None)
    if first is None or first.step is None or Cap.UNIT in first.gives:
        return
    least = (LISTENS + CONNECTS) * first.step.attempts
    if first.step.deadline < least:
        message = f"'{first.name}' listens for {LISTENS:g} s first, since no scan comes before it: that leaves no time to connect"
        problems.add(first.place, message, f"write within: {least:g} s or more, or add - scan: before it")


# --- in the run


@dataclass
class Losses:
    """What later steps can no longer count on, and since which step: of each device."""

    since: dict[OfDevice, Where] = field(default_factory=dict)
    stop: Where | None = None  # the step that ended the run
    # the step that looked for the device last, and in vain
    absent: dict[str, Where] = field(default_factory=dict)

    def why_not(self, step: StepPlan, at_hand: Callable[[], AbstractSet[Cap]]) -> tuple[Where | None, str] | None:
        """The root and the sentence when a step lacks something that is not there; None when it can run. Without any loss
        it may try: it says best what is wrong. Not so in finally, which cannot know how far the run came."""
        in_finally = step.section == "finally"
        if not in_finally and self.stop is not None:
            return self.stop, f"step {self.stop.label} ended the run"
        if step.device in self.absent and step.is_about_unit:
            root = self.absent[step.device]
            return root, f"the unit was not found (step {root.label})"
        if not (self.since or self.stop or in_finally):
            return None
        lacking = step.needs - at_hand()
        return next((self._root(step.device, cap) for cap in Cap if cap in lacking), None)

    def _root(self, device: str, cap: Cap) -> tuple[Where | None, str]:
        if (device, cap) not in self.since and (device, Cap.UNIT) in self.since:
            cap = Cap.UNIT
        root = self.since.get((device, cap))
        if cap is Cap.UNIT and root is not None:
            return root, f"the unit was not found (step {root.label})"
        return root, f"step {root.label} left no {_LEFT[cap]}" if root else f"there is no {_LEFT[cap]}"

    @property
    def roots(self) -> set[Where]:
        """The steps for which others are left out."""
        return {*self.since.values(), *self.absent.values(), *filter(None, [self.stop])}

    def found(self, device: str) -> bool:
        """Whether no step has looked for the device in vain."""
        return (device, Cap.UNIT) not in self.since

    def left_out(self, step: StepPlan, where: Where, at_hand: AbstractSet[Cap]) -> None:
        """After a step that a condition of the plan left out: what it would have given is not there."""
        for cap in (Cap.LINK, Cap.BOND):
            if cap in step.gives and cap not in at_hand:
                self.since.setdefault((step.device, cap), where)

    def remember(
        self, step: StepPlan, where: Where, error: BenchrigError | None, at_hand: AbstractSet[Cap], *, ended: bool
    ) -> None:
        """After a step. `ended`: the link is gone because it was ended, not lost."""
        if Cap.UNIT in step.needs | step.gives:
            self.absent.pop(step.device, None)
            if isinstance(error, (DeviceNotFound, AmbiguousDevice, WrongDevice)):
                self.absent[step.device] = where
        if Cap.UNIT in step.gives:
            self.since.pop((step.device, Cap.UNIT), None)
            if error is not None and not isinstance(error, (OperatorError, StepFailed, StepTimeout)):
                self.since[step.device, Cap.UNIT] = where
        for cap in (Cap.LINK, Cap.BOND):
            if cap in at_hand:
                self.since.pop((step.device, cap), None)
            elif _cost(step, cap, error) or (cap is Cap.LINK and ended and step.kind.executes):
                self.since.setdefault((step.device, cap), where)


def _cost(step: StepPlan, cap: Cap, error: BenchrigError | None) -> bool:
    """Whether a step after which something is not there is the one to blame for that."""
    if cap in step.ends:
        return error is not None
    return cap in step.needs or cap in step.gives or (cap is Cap.LINK and isinstance(error, LinkLost))
