"""What earlier hunts came to, in a folder. A result holds as long as all that its run went through is the same: the
sound and the broken device, the seed, the head of the plan, its steps up to the one that caught it, and the code."""

from __future__ import annotations

import contextlib
import hashlib
import pickle
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Self

import msgspec

from benchrig.escapes.hunting import Hunt
from benchrig.escapes.results import Came, Result, versions
from benchrig.faults.fault import Fault, Scene
from benchrig.files import write_whole
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node
from benchrig.source.yaml import Sequence as SequenceNode
from benchrig.steps.transfer import file_bytes

# The key of a step whose value is a file beside the plan.
_FILE = "file"


class Kept(msgspec.Struct, frozen=True):
    """One trial. `steps` is the digest of the nodes that its run went through."""

    steps: str
    came: Came


class File(msgspec.Struct):
    """By the digest of a broken scene and the seed."""

    trials: dict[str, Kept] = {}


@dataclass
class Cache:
    """Of one hunt. Without a path it knows nothing and keeps nothing."""

    path: Path | None
    hunt: Hunt
    notes: list[str] = field(default_factory=list)
    # of each node of the plan, when the hunt began: what a file has later was in no trial
    _nodes: list[str] = field(default_factory=list)
    # by the name of a fault, the digest of its scene
    _scenes: dict[str, str] = field(default_factory=dict)
    _file: File = field(default_factory=File)

    @classmethod
    def of(cls, folder: Path | None, hunt: Hunt) -> Self:
        if folder is None:
            return cls(None, hunt)
        for step in hunt.plan.steps:
            if why := _not_told(step):
                return cls(None, hunt, [f"nothing is kept in {folder}: step {step.id}, {step.called}, {why}"])
        return cls(folder / f"{_digest(_head(hunt))}.json", hunt, _nodes=_nodes_of(hunt.plan))

    def known(self, faults: Iterable[Fault]) -> Mapping[tuple[str, int], Came]:
        """What holds of these: by name and seed."""
        if self.path is None:
            return {}
        self._file = _read(self.path)
        self._scenes = {each.name: digest for each in faults if (digest := self._scene(each))}
        found = ((name, seed, self._file.trials.get(f"{digest} {seed}"))
                 for name, digest in self._scenes.items() for seed in self.hunt.seeds)  # fmt: skip
        return {(name, seed): kept.came for name, seed, kept in found if kept is not None and self._holds(kept)}

    def keep(self, results: Sequence[Result]) -> None:
        """StationError where the folder cannot be written."""
        if self.path is None:
            return
        for result in results:
            if (digest := self._scenes.get(result.fault.name)) is not None:
                self._file.trials |= {f"{digest} {came.seed}": Kept(self._steps(came), came) for came in result.trials}
        write_whole(self.path, msgspec.json.encode(self._file), advice="choose another folder for --cache")

    def _holds(self, kept: Kept) -> bool:
        """A pass holds for the whole plan alone: a step that is new might catch it."""
        return kept.steps == self._steps(kept.came)

    def _steps(self, came: Came) -> str:
        return _through(self._nodes, came)

    def _scene(self, fault: Fault) -> str:
        """'' where the fault does not exist, and for a scene that holds code: whether that is the same nobody can tell."""
        with contextlib.suppress(Misfit, pickle.PicklingError, AttributeError, TypeError):
            return _scene_digest(fault.scene(self.hunt.sound))
        return ""


def gone_through(plan: Plan, came: Came) -> str:
    """The digest of the steps that a run went through. A pass holds for the whole plan alone."""
    return _through(_nodes_of(plan), came)


def _through(nodes: Sequence[str], came: Came) -> str:
    through = len(nodes) if came.by is None else came.through
    return _digest([*nodes[:through], "all" if through >= len(nodes) else "some"])


def _nodes_of(plan: Plan) -> list[str]:
    return [_digest(_told(node, plan.path.parent)) for node in plan.nodes]


def _read(path: Path) -> File:
    """What is damaged is as if it was not there."""
    try:
        return msgspec.json.decode(path.read_bytes(), type=File)
    except (OSError, msgspec.DecodeError):
        return File()


def _scene_digest(scene: Scene) -> str:
    return hashlib.sha256(pickle.dumps(scene)).hexdigest()


def _head(hunt: Hunt) -> Iterator[Any]:
    """All but the steps. Two plans that differ in these alone would take each other's place: hence the file's name."""
    plan: Plan = hunt.plan
    yield plan.path.name, _code(), _scene_digest(hunt.sound), hunt.whole
    yield plan.caution, plan.deadline, sorted(plan.may_lack), sorted(plan.values.items()), sorted(plan.variants.items())
    yield sorted((name, repr(kinds)) for name, kinds in plan.kinds.items())
    for key, device in plan.devices.items():
        yield key, [*_meant(device.node)], sorted((name, repr(spec)) for name, spec in device.names.aliases.items())


def _told(node: StepPlan, folder: Path) -> Iterator[Any]:
    """All that is meant by this step and by those in it."""
    for step in every_step([node]):
        names = sorted((name, repr(spec)) for name, spec in step.names.aliases.items())
        yield step.id, step.called, step.section, step.device, step.part, [*_meant(step.node)], names
        if (name := getattr(step.step, _FILE, None)) and not step.kind.executes:
            yield file_bytes(folder, name)


def _not_told(step: StepPlan) -> str:
    """Why the plan does not tell what the step does; '' where it does."""
    if step.kind.executes:
        return "runs other code, which may change"
    return "sends a file that the run names" if _FILE in step.node.entries and step.step is None else ""


def _meant(node: Node) -> Iterator[Any]:
    """Its keys and what is meant by its scalars: what is written in an included file stays the same when its parameters
    change, and so do the digits of a text that becomes a number."""
    if isinstance(node, MappingNode):
        for key, (_, value) in node.entries.items():
            yield key
            yield from _meant(value)
        yield "}"
    elif isinstance(node, SequenceNode):
        for item in node.items:
            yield from _meant(item)
        yield "]"
    else:
        yield type(node.value).__name__, node.value, node.quoted, node.final, node.text


def _digest(parts: Iterable[Any]) -> str:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(repr(part).encode())
        digest.update(b"\0")
    return digest.hexdigest()


@cache
def _code() -> str:
    """Of benchrig's own files: the same version may be another one on the computer of a contributor."""
    folder = Path(__file__).parents[1]
    digest = hashlib.sha256(repr(versions()).encode())
    for path in sorted(folder.rglob("*")):
        if path.suffix in (".py", ".json"):
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
