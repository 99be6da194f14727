"""Text -> Plan: everything that can be known to be wrong before a radio is opened, all at once, with places."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

from benchrig import collector
from benchrig.errors import PlanError, UsageError
from benchrig.plan.checks import check_may_lack, check_readings, check_secrets, check_select, check_values
from benchrig.plan.flow import check_flow
from benchrig.plan.model import Given, NamesFile, Plan, PlanFile, StepsFile
from benchrig.plan.tree import StepPlan
from benchrig.record.model import Section
from benchrig.source.problem import NOWHERE, Place, Problems, suggest
from benchrig.source.references import Room, has_reference, insert, is_marked, references, substitute
from benchrig.source.shape import BAD, LATE, LooseText, Misfit, Reader, describe, is_late, locate, plain
from benchrig.source.yaml import MAX_DEPTH, Node, Scalar, Sequence, file_bytes, read_bytes
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps import KINDS, Step
from benchrig.steps.attribute import AttributeSpec, Names

MAX_STEPS = 100_000
MAX_INCLUDES = 1000
# Stands for a name whose definition is wrong: it must not look unknown in every step that uses it.
_UNCLEAR = AttributeSpec(handle=0xFFFF)


def load_plan(path: Path, given: Mapping[str, str] | None = None, *, names_will_do: bool = False) -> Plan:
    """Load and check a plan file. Raises PlanError with all problems.

    `given` are the values of the run, as text; without it (None) only what does not depend on them is checked. With
    `names_will_do` a file that has no 'steps' at all is taken for one of names.
    """
    with collector.paused():
        return _Loader(path, given, names_only=None if names_will_do else False).load()


def load_names(path: Path) -> Plan:
    """A plan file for its names, its device and its caution: it needs no steps, and what it has must be right. Raises
    PlanError."""
    with collector.paused():
        return _Loader(path, None, names_only=True).load()


@dataclass
class _Loader:
    path: Path
    given: Mapping[str, str] | None
    names_only: bool | None = False  # None: when it has no steps
    problems: Problems = field(default_factory=Problems)
    digest: Any = field(default_factory=hashlib.sha256)
    names: Names = field(default_factory=Names)
    steps: list[StepPlan] = field(default_factory=list)
    titles: dict[str, Place] = field(default_factory=dict)
    includes: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    missing: dict[str, Given] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.room = Room(self.problems)
        self.secrets: frozenset[str] = frozenset()

    def load(self) -> Plan:
        node = self._read(self.path)
        if node is None:
            self.problems.raise_if_any()
        assert node is not None
        self._refuse_device_file(node)
        if self.names_only is None:
            self.names_only = isinstance(node, MappingNode) and not node.entries.keys() & {"steps", "finally"}
        self._refuse_references(node)
        head = Reader(self.problems).read(node, NamesFile if self.names_only else PlanFile)
        if head is BAD or self.problems.found or not isinstance(node, MappingNode):
            self._steps_despite(node)
            raise PlanError(self.problems.in_order())
        self._set_values(head, node)
        self._set_names(head.device.attributes, node)
        self._add_steps(node, "steps", ())
        if "finally" in node.entries:
            self._add_steps(node, "finally", ())
        there = self.names_only or any(step.section == "steps" for step in self.steps)
        if not there and not self.problems.found:
            self.problems.add(locate(node, ("steps",)).place, "the plan has no steps", "for example: - scan:")
        check_select(self.problems, locate(node, ("device", "select")), self.names)
        check_flow(self.problems, self.steps)
        check_values(self.problems, node, head.given, self.steps, self.used)
        check_may_lack(self.problems, locate(node, ("may_lack",)), head.may_lack, self.steps)
        check_secrets(self.problems, node, self.steps, self.secrets)
        self.problems.raise_if_any()
        if missing := self._missing(node):
            raise MissingGiven(missing)
        plan = Plan(
            name=head.plan,
            path=self.path,
            hash=self.digest.hexdigest(),
            revision=str(head.revision or ""),
            caution=head.caution.strip(),
            device=locate(node, ("device",)),
            names=self.names,
            given=head.given,
            deadline=head.deadline.seconds if head.deadline else None,
            nodes=tuple(self.steps),
            may_lack=frozenset(head.may_lack),
            values=self.values,
        )
        if self.given is not None or not has_reference(plan.device):
            plan.selection()
        return plan

    def _missing(self, node: Node) -> dict[str, Given]:
        """Given values without which the plan cannot run. What only an ask step takes may be left to the operator."""
        referred = self.used | {name for name, _ in references(locate(node, ("device",)))}
        return {name: spec for name, spec in self.missing.items() if name in referred}

    # --- parts

    def _read(self, path: Path) -> Node | None:
        """The file's tree; its bytes count for the hash of the plan."""
        least = "write at least 'plan:', 'device:' and 'steps:'" if path == self.path else "write at least 'steps:'"
        name = _shown(path, self.path)
        data = file_bytes(path, self.problems, name)
        if data is None:
            return None
        node = read_bytes(data, name, self.problems, least)
        self.problems.settle()
        if node is not None:
            self.digest.update(data)
        return node

    def _refuse_device_file(self, node: Node) -> None:
        keys = node.entries.keys() if isinstance(node, MappingNode) else set()
        if keys & {"advertising", "services", "devices", "others"} and not keys & {"plan", "steps"}:
            self.problems.add(node.place, "this is a device file, not a plan", "it goes with --radio virtual:FILE")
            self.problems.raise_if_any()

    def _refuse_references(self, node: Node) -> None:
        """Only steps and the selection may have references: the rest must be known to read them."""
        open_parts = ("steps", "finally", "device", "select")
        entries = node.entries if isinstance(node, MappingNode) else {}
        device = node.get("device") if isinstance(node, MappingNode) else None
        if isinstance(device, MappingNode):
            entries = entries | device.entries
        closed = [part for key, (_, part) in entries.items() if key not in open_parts]
        for part in (*closed, device if isinstance(device, Scalar) else None):
            for name, scalar in references(part) if part else ():
                self.problems.add(
                    scalar.place,
                    f"${{{name}}} is not allowed here",
                    "write the value: references work only in steps and in device: select:",
                )

    def _steps_despite(self, node: Node) -> None:
        """The head is wrong; the mistakes in the steps are worth saying at the same time."""
        if not isinstance(node, MappingNode):
            return
        device = node.get("device")
        attributes = device.get("attributes") if isinstance(device, MappingNode) else None
        specs = {name: Reader(Problems()).read(child, AttributeSpec) for name, child in _named(attributes).items()}
        self._set_names({n: _UNCLEAR if spec is BAD or is_late(spec) else spec for n, spec in specs.items()}, node)
        check_select(self.problems, locate(node, ("device", "select")), self.names)
        for section in ("steps", "finally"):
            self._add_steps(node, section, ())
        check_values(self.problems, node, _named(node.get("given")), self.steps, self.used)

    def _set_values(self, head: PlanFile, node: MappingNode) -> None:
        """Defaults and the values of the run."""
        places = locate(node, ("given",))
        self.secrets = frozenset(name for name, spec in head.given.items() if spec.secret)
        for name, spec in head.given.items():
            if spec.default is not None:
                self.values[name] = spec.default
            if self.given is None:
                continue
            if name in self.given:
                self.values[name] = LooseText(self.given[name])
                self._check_given(name, spec, locate(places, (name,)))
            elif spec.default is None:
                self.missing[name] = spec
        for name in self.given or ():
            if name not in head.given:
                advice = suggest(name, head.given) or "the plan has no given values"
                self.problems.add(NOWHERE, f"the plan has no given value '{name}'", advice)

    def _check_given(self, name: str, spec: Given, node: Node) -> None:
        try:
            problem = spec.problem_with(self.values[name])
        except Misfit as misfit:
            self.problems.add(node.place, misfit.message, misfit.advice)
            return
        if problem:
            self.problems.add(NOWHERE, f"the given value {name}: {problem}", f"see the plan's limit in {node.place}")

    def _set_names(self, named: Mapping[str, AttributeSpec], node: MappingNode) -> None:
        attributes = locate(node, ("device", "attributes"))
        good = {}
        for name, spec in named.items():
            if "/" in name or "[" in name:
                self.problems.add(
                    locate(attributes, (name,)).place, f"the name '{name}' has a '/' or '['", "write it without"
                )
                continue
            try:
                Names({name: spec})
                good[name] = spec
            except Misfit as misfit:
                Reader(self.problems).misfit(locate(attributes, (name,)), misfit)
        names = Names(good)
        for name, spec in list(good.items()):
            if spec.service is not None:
                try:
                    names.service(spec.service)
                except Misfit as misfit:
                    place = locate(attributes, (name, "service")).place
                    self.problems.add(place, misfit.message, misfit.advice)
                    good[name] = _UNCLEAR
        self.names = Names(good)

    def _add_steps(self, node: MappingNode, section: Section, via: tuple[Path, ...], prefix: str = "") -> None:
        """Append the steps of a list; `via` are the files that led here, for includes that go round in circles."""
        listed = node.get(section if not via else "steps")
        if not isinstance(listed, Sequence):
            if listed is not None:
                self.problems.add(
                    listed.place, f"expected a list of steps, found {describe(listed)}", "for example: - scan:"
                )
            return
        for item in listed.items:
            if len(self.steps) >= MAX_STEPS:
                self.problems.add(item.place, f"more than {MAX_STEPS} steps")
                return
            if not isinstance(item, MappingNode):
                self.problems.add(item.place, f"expected a step, found {describe(item)}", _step_advice(item))
            elif "use" in item.entries:
                self._include(item, section, via, prefix)
            else:
                self._add_step(item, section, prefix)

    def _add_step(self, node: MappingNode, section: Section, prefix: str) -> None:
        kind = self._kind(node)
        if kind is None:
            return
        before, written = self.problems.mistakes, node
        if is_marked(node):  # most are not
            self.used |= {name for name, _ in references(node)}
            self._try_secrets(node, kind)
            # a secret is filled in when its step runs: no message of the check can have it
            open_values = {name: value for name, value in self.values.items() if name not in self.secrets}
            node = cast("MappingNode", substitute(node, open_values, self.room, partly=True))
        step = Reader(self.problems).read(node, kind)
        if step is BAD or self.problems.mistakes > before:
            self.steps.append(StepPlan(str(len(self.steps) + 1), kind.verb, kind, section, node, None))
            return
        waits = node is not written and has_reference(node)
        check_readings(self.problems, node, step, self.names, late=waits)
        named = step.name if isinstance(step.name, str) else None
        title = self._title(named, step, prefix, node)
        on_fail = step.on_fail if isinstance(step.on_fail, str) else "continue"
        number = str(len(self.steps) + 1)
        step_plan = StepPlan(number, title, kind, section, written if waits else node, None if waits else step, on_fail)  # type: ignore[arg-type]
        self.steps.append(replace(step_plan, prefix=prefix))

    def _try_secrets(self, node: MappingNode, kind: type[Step]) -> None:
        """See whether the secret values fit, and say no more than that."""
        used = sorted(self.secrets & self.values.keys() & {name for name, _ in references(node)})
        others = {name: value for name, value in self.values.items() if name not in used}
        if used and self._misfits(node, kind, self.values) > self._misfits(node, kind, others):
            message = f"the secret value {used[0]} does not fit where it is used"
            self.problems.add(node.place, message, "give another value, or use it elsewhere")

    def _misfits(self, node: MappingNode, kind: type[Step], values: Mapping[str, Any]) -> int:
        problems = Problems()
        tried = cast("MappingNode", substitute(node, values, Room(problems), partly=True))
        step = Reader(problems).read(tried, kind)
        if step is not BAD:
            check_readings(problems, tried, step, self.names)
        return len(problems.found)

    def _kind(self, node: MappingNode) -> type[Step] | None:
        verbs = [key for key in node.entries if key in KINDS]
        if len(verbs) == 1:
            return KINDS[verbs[0]]
        if verbs:
            places = ", ".join(f"'{verb}'" for verb in verbs)
            self.problems.add(node.place, f"a step has one verb, this one has {places}", "make it two steps")
        else:
            words = [*KINDS, "use"]
            first = next(iter(node.entries), "")
            advice = suggest(str(first), words) if first else ""
            self.problems.add(node.place, "no verb in this step", advice or f"write one of {', '.join(words)}")
        return None

    def _title(self, named: str | None, step: Step, prefix: str, node: MappingNode) -> str:
        """A unique title. A name that people gave must be unique by itself; others are counted."""
        title = prefix + (named or _safe_title(step))
        if title not in self.titles:
            self.titles[title] = node.place
            return title
        if named:
            first = self.titles[title]
            self.problems.add(
                locate(node, ("name",)).place,
                f"two steps are named '{title}' (first in line {first.line})",
                "rename one",
            )
        count = self.counts.get(title, 2)
        while f"{title} ({count})" in self.titles:
            count += 1
        self.counts[title] = count + 1
        self.titles[f"{title} ({count})"] = node.place
        return f"{title} ({count})"

    def _include(self, node: MappingNode, section: Section, via: tuple[Path, ...], prefix: str) -> None:
        """Read the file of `use`, put its parameters in and append its steps."""
        for key, (scalar, _) in node.entries.items():
            if key not in ("use", "with", "name"):
                self.problems.add(
                    scalar.place, f"unknown key '{scalar.text}'", suggest(str(key), ("use", "with", "name"))
                )
        target = node.entries["use"][1]
        name = node.get("name")
        if not (isinstance(target, Scalar) and isinstance(target.value, str)):
            self.problems.add(target.place, f"expected a file name, found {describe(target)}")
            return
        here = via[-1] if via else self.path
        try:
            path = (here.parent / target.value).resolve()
        except (OSError, RuntimeError, ValueError) as exc:
            self.problems.add(target.place, f"'{target.value}' is not a file name: {exc}")
            return
        if path in (self.path.resolve(), *via):
            chain = " → ".join(p.name for p in (*(via or (self.path.resolve(),)), path))
            self.problems.add(target.place, f"circular include: {chain}", "take one of them out")
            return
        self.includes += 1
        if self.includes > MAX_INCLUDES or len(via) >= MAX_DEPTH:
            self.problems.add(
                target.place, f"more than {MAX_INCLUDES} includes, or more than {MAX_DEPTH} within each other"
            )
            return
        included = self._read(path)
        if not isinstance(included, MappingNode):
            if included is not None:
                self.problems.add(included.place, "expected 'steps:' with a list of steps")
            else:
                self.problems.add(target.place, f"the included file {target.value} cannot be used")
            return
        before = self.problems.mistakes
        for reference, scalar in references(included.get("given") or target):
            self.problems.add(scalar.place, f"${{{reference}}} is not allowed here", "write the value")
        head = Reader(self.problems).read(included, StepsFile)
        if head is BAD or self.problems.mistakes > before:
            return
        filled = self._fill_parameters(included, head, node)
        label = f"{name.value}: " if isinstance(name, Scalar) and name.value else ""
        self._add_steps(filled, section, (*via, path), prefix + label)

    def _fill_parameters(self, included: MappingNode, head: StepsFile, use: MappingNode) -> MappingNode:
        given = use.get("with")
        if given is not None and not isinstance(given, MappingNode):
            self.problems.add(given.place, f"expected parameters by name, found {describe(given)}")
        arguments = plain(given) if isinstance(given, MappingNode) else {}
        for name in arguments:
            if name not in head.given:
                place = locate(use, ("with", name)).place
                self.problems.add(place, f"the file has no parameter '{name}'", suggest(str(name), head.given))
        used = {name for name, _ in references(locate(included, ("steps",)))}
        values = {}
        for name, spec in head.given.items():
            if name in arguments:
                values[name] = arguments[name]
                self._check_argument(name, spec, locate(use, ("with", name)))
            elif spec.default is not None:
                values[name] = spec.default
            else:
                self.problems.add(use.place, f"the included file needs the parameter '{name}'", f"with: {{{name}: …}}")
                values[name] = ""
            if name not in used:
                self.problems.add(locate(included, ("given", name)).place, f"the parameter '{name}' is not used")
        return cast("MappingNode", insert(included, values, self.room))

    def _check_argument(self, name: str, spec: Given, node: Node) -> None:
        """See that it satisfies the limit of the parameter, where it is known before the run and no secret."""
        open_values = {name: value for name, value in self.values.items() if name not in self.secrets}
        known, place = substitute(node, open_values, self.room, partly=True), node.place
        if has_reference(known):
            return
        try:
            problem = spec.problem_with(plain(known))
        except Misfit as misfit:
            problem = misfit.message
        if problem:
            self.problems.add(place, f"the parameter {name}: {problem}")


def _step_advice(item: Node) -> str:
    """A verb without its colon is a common slip."""
    if isinstance(item, Scalar) and item.value in KINDS:
        return f"put a colon behind it: - {item.value}:"
    return "for example: - read: temperature"


class MissingGiven(UsageError):
    """A run without values that the plan needs; whoever starts it may still ask for them."""

    def __init__(self, missing: Mapping[str, Given]) -> None:
        names = ", ".join(f"'{name}'" for name in missing)
        advice = " ".join(f"--set {name}={'@FILE' if given.secret else '…'}" for name, given in missing.items())
        super().__init__(f"the plan needs a value for {names}", advice=advice)
        self.missing = dict(missing)


def _named(node: Node | None) -> dict[str, Node]:
    """What has a name in a mapping; a key that is a number is a mistake already."""
    entries = node.entries.items() if isinstance(node, MappingNode) else ()
    return {name: child for name, (_, child) in entries if isinstance(name, str)}


def _safe_title(step: Step) -> str:
    subject = getattr(step, step.verb, None)
    return step.verb if subject is LATE else step.title


def _shown(path: Path, plan: Path) -> str:
    """A path for messages: relative to the plan where that is shorter."""
    if path == plan:
        return str(path)
    try:
        return str(plan.parent / path.relative_to(plan.parent.resolve()))
    except ValueError:
        return str(path)
