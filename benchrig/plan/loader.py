"""Text -> Plan: everything that can be known to be wrong before a radio is opened, all at once, with places."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from benchrig import collector
from benchrig.errors import PlanError
from benchrig.plan.bonds import check_bonds
from benchrig.plan.checks import (
    check_apart,
    check_caution,
    check_known,
    check_may_lack,
    check_secrets,
    check_select,
    check_values,
)
from benchrig.plan.condition_checks import ConditionChecks
from benchrig.plan.conditions import Kinds
from benchrig.plan.files import PlanFiles
from benchrig.plan.flow import check_flow
from benchrig.plan.given import GivenValues, MissingGiven
from benchrig.plan.given_spec import Given
from benchrig.plan.in_worlds import InWorlds, check_link
from benchrig.plan.kinds import check_kinds
from benchrig.plan.limit_sets import Overrides, is_limit_set, overrides_of, read_limit_set
from benchrig.plan.lists import StepLists
from benchrig.plan.model import NamesFile, Plan, PlanDevice, PlanFile
from benchrig.plan.order import check_order
from benchrig.plan.own_names import OwnNames, is_names_file, readable
from benchrig.plan.requirements import check_requirements, read_requirements
from benchrig.plan.tree import every_step
from benchrig.plan.variants import Variants
from benchrig.record.events import PlannedLimits
from benchrig.source.nodes import locate
from benchrig.source.problem import Problems
from benchrig.source.references import expressions, has_reference, references
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.attribute import AttributeSpec, Names


def load_plan(
    path: Path,
    given: Mapping[str, str] | None = None,
    *,
    names_will_do: bool = False,
    seed: int | None = None,
    text: str | None = None,
    forbid: Sequence[str] = (),
    limits: Path | None = None,
    unknown: Collection[str] = (),
) -> Plan:
    """Load and check a plan file. Raises PlanError with all problems.

    `given` are the values of the run, as text; without it (None) only what does not depend on them is checked. With
    `names_will_do` a file that has no 'steps' at all is taken for one of names. Random values come from the `seed` where
    there is one. `text` stands for what is in the file. `forbid` is what the station does not allow: nothing of a package
    in it is imported; StationError where the plan needs it. `limits` is the file of a limit set, whose limits stand in for
    those of the plan.
    """
    with collector.paused():
        names_only = None if names_will_do else False
        return _Loader(path, given, names_only, seed, text, forbid, limits, unknown).load()


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
    seed: int | None = None
    text: str | None = None
    forbid: Sequence[str] = ()
    limits: Path | None = None
    unknown: Collection[str] = ()
    problems: Problems = field(default_factory=Problems)

    def __post_init__(self) -> None:
        self.files = PlanFiles(self.path, self.problems, self.text, self.forbid)
        self.run_values = GivenValues(self.problems, self.given, self.seed)
        self.variants = Variants(self.problems)
        self.kinds: Mapping[str, Kinds] = {}
        self.hash = ""
        self.limit_set: PlannedLimits | None = None

    def load(self) -> Plan:
        node = self.files.read(self.path)
        if node is None:
            self.problems.raise_if_any()
        assert node is not None
        self._refuse_other_files(node)
        if self.names_only is None:
            self.names_only = isinstance(node, MappingNode) and not node.entries.keys() & {"steps", "finally"}
        self._refuse_references(node)
        head = Reader(self.problems).read(node, NamesFile if self.names_only else PlanFile)
        if head is BAD or self.problems.found or not isinstance(node, MappingNode):
            self._steps_despite(node)
            raise PlanError(self.problems.in_order())
        self.run_values.take(head.given, node)
        self.variants.read(node.get("variants"), head.given, self.run_values)
        lists = self._lists({key: device.attributes for key, device in head.described.items()}, node)
        self._check(head, node, lists)
        self.hash = self.files.hash
        if self.limits is not None:
            lists = self._under(self.limits, head, node, lists)
        if missing := self._missing(node, lists):
            raise MissingGiven(missing)
        return self._plan(head, node, lists)

    def _plan(self, head: PlanFile, node: MappingNode, lists: StepLists) -> Plan:
        plan = Plan(
            name=head.plan,
            path=self.path,
            hash=self.hash,
            begins=tuple(self.files.begins),
            revision=str(head.revision or ""),
            caution=head.caution.strip(),
            devices={key: PlanDevice(locate(node, _path(key)), names) for key, names in lists.names.items()},
            given=head.given,
            deadline=head.deadline.seconds if head.deadline else None,
            nodes=tuple(lists.nodes),
            may_lack=frozenset(head.may_lack),
            markers=tuple(map(str, head.markers)),
            requirements=read_requirements(head.requirements, node),
            values=self.run_values.values,
            scanned=self.run_values.scanned,
            variants=self.variants.chosen,
            kinds=self.kinds,
            limit_set=self.limit_set,
        )
        for device in plan.devices.values():
            if (self.given is not None and not self.unknown) or not has_reference(device.node):
                device.selection(plan.values)
        return plan

    def _under(self, path: Path, head: PlanFile, node: MappingNode, plain: StepLists) -> StepLists:
        """The steps once more, with the limits of a set in place of their own: what the plan has is known by now. A value that
        only a limit of the plan takes is used."""
        found = read_limit_set(path, self.problems, node.place.source.names)
        if found is None:
            raise PlanError(self.problems.in_order())
        steps = [*every_step(plain.nodes)]
        secrets, whole = self.run_values.secrets, self.given is not None
        overrides = overrides_of(found, head.plan, steps, secrets, self.problems, whole=whole)
        self.limit_set = found.head
        lists = self._lists({key: each.attributes for key, each in head.described.items()}, node, overrides)
        lists.used |= plain.used | {name for step in steps for name in step.uses}
        self._check(head, node, lists)
        return lists

    def _check(self, head: PlanFile, node: MappingNode, lists: StepLists) -> None:
        """What can be wrong between the parts."""
        steps = [*every_step(lists.nodes)]
        there = self.names_only or any(step.section == "steps" for step in steps)
        if not there and not self.problems.found:
            self.problems.add(locate(node, ("steps",)).place, "the plan has no steps", "for example: - scan:")
        self._check_select(node, lists)
        check_order(self.problems, lists.nodes)
        recorded = {name for name, spec in head.given.items() if spec.record}
        check_values(self.problems, node, head.given, self.variants, lists.nodes, lists.used | recorded)
        self._check_worlds(head, lists)
        check_kinds(self.problems, head.given, lists.nodes)
        check_caution(self.problems, head.caution, steps)
        check_may_lack(self.problems, locate(node, ("may_lack",)), head.may_lack, steps)
        check_requirements(self.problems, head.requirements, steps)
        check_secrets(self.problems, node, steps, self.run_values.secrets)
        self.problems.raise_if_any()

    def _check_worlds(self, head: PlanFile, lists: StepLists) -> None:
        """What has to hold however the conditions come out."""
        conditions = ConditionChecks(self.problems, head.given, self.variants.names)
        conditions.look_at(lists.nodes)
        self.kinds = conditions.kinds
        if not conditions.all:
            check_flow(self.problems, lists.nodes)
            check_bonds(self.problems, lists.nodes)
            return
        given, tables = head.given, self.variants.names
        every = InWorlds(self.problems, lists.nodes, conditions)
        every.check(check_link)
        every.check(check_bonds)
        every.check(lambda problems, nodes: check_known(problems, given, tables, nodes))

    def _missing(self, node: Node, lists: StepLists) -> dict[str, Given]:
        """Given values without which the plan cannot run. What only an ask step takes may be left to the operator."""
        referred = lists.used | {name for key in lists.names for name, _ in references(locate(node, _path(key)))}
        referred |= {name for step in every_step(lists.nodes) for name in step.decided_by}
        return {
            name: spec
            for name, spec in self.run_values.missing.items()
            if name not in self.unknown and (name in referred or spec.record or name in self.variants.tables)
        }

    # --- parts

    def _refuse_other_files(self, node: Node) -> None:
        if is_device_file(node):
            what, advice = "a device file", "it goes with --radio virtual:FILE"
        elif is_names_file(node) and self.names_only is False:
            what, advice = "a file of names", "write it into a plan: device: {select: …, use: FILE}"
        elif is_limit_set(node):
            what, advice = "a limit set", f"it goes with its plan: --limits {self.path}"
        elif _is_steps_file(node):
            what, advice = "a file of steps for 'use'", "name the plan that uses it, or add plan: and device:"
        else:
            return
        self.problems.add(node.place, f"this is {what}, not a plan", advice)
        self.problems.raise_if_any()

    def _refuse_references(self, node: Node) -> None:
        """Only steps and the selection may have references: the rest must be known to read them."""
        for part in _closed_parts(node):
            for name, scalar in expressions(part):
                self.problems.add(
                    scalar.place,
                    f"${{{name}}} is not allowed here",
                    "write the value: references work only in steps and in device: select:",
                )

    def _steps_despite(self, node: Node) -> None:
        """The head is wrong; the mistakes in the steps are worth saying at the same time."""
        if not isinstance(node, MappingNode):
            return
        lists = self._lists({key: readable(_part(node, *_path(key), "attributes")) for key in _device_keys(node)}, node)
        self._check_select(node, lists)
        check_values(self.problems, node, _named(node.get("given")), self.variants, lists.nodes, lists.used)

    def _check_select(self, node: MappingNode, lists: StepLists) -> None:
        for key, names in lists.names.items():
            check_select(self.problems, locate(node, (*_path(key), "select")), names)
        check_apart(self.problems, [locate(node, (*_path(key), "select")) for key in lists.names])

    def _lists(
        self,
        attributes: Mapping[str, Mapping[str, AttributeSpec]],
        node: MappingNode,
        overrides: Overrides = MappingProxyType({}),
    ) -> StepLists:
        """The steps of the plan, with the names of each of its devices for attributes."""
        names = {key: self._names(specs, node, _path(key)) for key, specs in attributes.items()}
        lists = StepLists(self.files, self.run_values, self.variants, names, overrides)
        lists.add(node, "steps")
        lists.add(node, "finally")
        lists.trials.tell()
        return lists

    def _names(self, attributes: Mapping[str, AttributeSpec], node: MappingNode, path: tuple[str, ...]) -> Names:
        """Those of the files that a device of the plan names, and its own."""
        own = OwnNames(self.files)
        own.use(_part(node, *path, "use"))
        own.take(attributes, locate(node, (*path, "attributes")))
        return own.names()


def is_device_file(node: Node) -> bool:
    keys = node.entries.keys() if isinstance(node, MappingNode) else set()
    return bool(keys & {"advertising", "services", "devices", "others"}) and not keys & {"plan", "steps"}


def _is_steps_file(node: Node) -> bool:
    keys = node.entries.keys() if isinstance(node, MappingNode) else set()
    return keys == {"given", "steps"} or keys == {"steps"}


def _path(device: str) -> tuple[str, ...]:
    """Where a device is described; '' is the only one."""
    return ("devices", device) if device else ("device",)


def _device_keys(node: Node) -> list[str]:
    """The names of the devices, also where the plan is wrong."""
    several = _part(node, "devices")
    if not isinstance(several, MappingNode):
        return [""]
    only = [""] if _part(node, "device") is not None else []  # both are a mistake, which is told once
    return [*only, *(key for key in several.entries if isinstance(key, str) and key)]


def _closed_parts(node: Node) -> Iterator[Node]:
    """Where no reference may stand: everything but the steps and the selections of devices."""
    for key, (_, part) in node.entries.items() if isinstance(node, MappingNode) else ():
        if key == "devices":
            yield from [part] if isinstance(part, Scalar) else []
        elif key not in ("steps", "finally", "device"):
            yield part
    for name in _device_keys(node):
        device = _part(node, *_path(name))
        if isinstance(device, MappingNode):
            yield from (part for key, (_, part) in device.entries.items() if key != "select")
        elif device is not None:
            yield device


def _part(node: Node | None, *path: str) -> Node | None:
    """What stands at a path; None where that is not written."""
    for key in path:
        node = node.get(key) if isinstance(node, MappingNode) else None
    return node


def _named(node: Node | None) -> dict[str, Node]:
    """What has a name in a mapping; a key that is a number is a mistake already."""
    entries = node.entries.items() if isinstance(node, MappingNode) else ()
    return {name: child for name, (_, child) in entries if isinstance(name, str)}
