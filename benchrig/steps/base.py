"""What every step kind has: its fields in a plan, the readings it yields, its action.

A new kind is one file with one class, named in KINDS of `steps/__init__.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple, Protocol, TypeAlias

import msgspec

from benchrig.radio.turns import Use
from benchrig.source.nodes import plain
from benchrig.source.references import references
from benchrig.source.shape import BAD, Misfit, Reader, describe, is_late
from benchrig.source.yaml import Node
from benchrig.steps.attribute import AttributeName, Names
from benchrig.values.base import flat
from benchrig.values.judging import Judgement, Kind
from benchrig.values.kept import MOST_KEPT
from benchrig.values.limit import Limit, ReadingLimit
from benchrig.values.quantity import Duration, is_number

if TYPE_CHECKING:
    from benchrig.source.yaml import Mapping as MappingNode
    from benchrig.steps.bench import Bench
    from benchrig.values.evidence import Estimate
    from benchrig.values.format import Format


@dataclass(frozen=True)
class ReadingType:
    """What a reading will be: its kind and unit; `many` when a limit holds for every sample; `doc` for people.
    `levels`: it is the median of levels, which can be kept. `wrong` says what keeps a text from ever being this reading: (message, advice), None for a possible one. `uuids`: a
    limit may name services by their numbers. `form` is the format that it is decoded by; `options` are all that it can
    be, where the plan lists them. `loose`: text that a later step reads as what it needs there. `rounds` is what a limit with a confidence has to go by, None for a reading without."""

    kind: Kind
    unit: str = ""
    doc: str = ""
    many: bool = False
    levels: bool = False
    wrong: Callable[[str], tuple[str, str] | None] | None = None
    uuids: bool = False
    form: Format | None = None
    options: tuple[str, ...] = ()
    rounds: Rounds | None = None
    loose: bool = False


class Rounds(NamedTuple):
    """What is estimated over the rounds of a repetition, and how many there are; None where the plan does not know it."""

    estimate: Estimate
    planned: int | None


class Cap(Enum):
    """What a step may need of those before it."""

    UNIT = "unit"  # it was found
    LINK = "link"  # it is connected
    BOND = "bond"  # it is paired

    __hash__ = object.__hash__  # that of Enum takes ten times as long, and is asked for at every step


NOTHING: frozenset[Cap] = frozenset()
# The readings of a link that ends: a step that names one of them expects that.
LOST = frozenset({"lost_after", "lost_reason"})

# What a step is about that needs no link: it makes no sense without the unit, or it does.
About: TypeAlias = Literal["unit", "fixture"]


class StepNames(list[str]):
    """The name of a step, or a list of such."""

    # what one of them is, and what to write
    one: ClassVar[str] = "the name of a step"
    several: ClassVar[str] = "write the name of an earlier step, or a list of names"
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]
    }

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        """The names themselves are looked up in the plan, so no value of the run can stand in them."""
        for name, scalar in references(node):
            reader.problems.add(scalar.place, f"${{{name}}} is not allowed here", f"write {cls.one}")
            return BAD
        names = plain(node)
        if isinstance(names, str):
            names = [names]
        if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
            return reader.misfit(node, Misfit(f"expected {cls.one}, found {describe(node)}", cls.several))
        return cls(names)


class RequirementIds(StepNames):
    """The id of a requirement, or a list of such."""

    one = "the id of a requirement"
    several = "write the id of a requirement of the plan, or a list of ids"


class Bindable(Protocol):
    """Something `expect` can hold for a reading. `in_words` is it tied to nothing."""

    @property
    def in_words(self) -> str: ...
    def bind(self, kind: Kind, unit: str = "") -> Any: ...
    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]: ...


class Bound(Protocol):
    """A limit bound to a reading."""

    def passes(self, value: Any) -> bool: ...
    def judge(self, value: Any, place: str = "") -> Judgement: ...


class Held(NamedTuple):
    """Limits of a step beside `expect`: where they are in it, and the readings that they can be on."""

    path: tuple[str, ...]
    limits: Mapping[str, Bindable]
    types: Mapping[str, ReadingType]


class Step(msgspec.Struct, kw_only=True, omit_defaults=True):
    """Fields of every step. A subclass adds a field with the name of its verb for the verb's object."""

    verb: ClassVar[str] = ""
    within_default: ClassVar[float] = 5.0
    # what has to be there, what is there after it that was not before, and what is there no longer
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    gives: ClassVar[frozenset[Cap]] = NOTHING
    ends: ClassVar[frozenset[Cap]] = NOTHING
    # keys whose references may be to what the steps in it save: they have a value once these have been carried out
    late: ClassVar[frozenset[str]] = frozenset()
    # whether it encrypts the link with the key that is there
    encrypts: ClassVar[bool] = False
    # keys whose values are in nothing that a run leaves
    conceals: ClassVar[frozenset[str]] = frozenset()
    # whether the link may be meant to end in it (steps/loss.py)
    may_lose: ClassVar[bool] = False
    # whether the last step in it ends the link, and it waits for that
    wants_loss: ClassVar[bool] = False
    # whether the link may end in the last step in it
    bears_loss: ClassVar[bool] = False
    writes: ClassVar[bool] = False
    # whether it may harm the unit, so that the plan has to say so to whoever runs it
    needs_caution: ClassVar[bool] = False
    # whether what is behind its verb is read
    reads: ClassVar[bool] = False
    # whether the keys under its verb are what it listens to
    listens: ClassVar[bool] = False
    # whether code runs in it that is not benchrig's; a station can forbid that
    executes: ClassVar[bool] = False
    # whether that code names the readings, so that one that is missing is misspelt
    readings_are_foreign: ClassVar[bool] = False
    # whether its readings are the values under the key of its verb
    works_out: ClassVar[bool] = False
    # whether it can meet trouble with link or device that another attempt may not have
    tries_again: ClassVar[bool] = True
    # the reading that a limit without a name is mostly meant for
    usual: ClassVar[str] = "elapsed"
    # readings that may tell what was sent
    echoes: ClassVar[frozenset[str]] = frozenset()
    # keys that bring a limit with them, and the reading that it is on
    implied: ClassVar[dict[str, str]] = {}
    # whether it begins without a bond
    unbonded: ClassVar[bool] = False
    # keys whose values people or other programs see, and where
    shown: ClassVar[dict[str, str]] = {}
    # whether it takes no time on the clock of the run
    instant: ClassVar[bool] = False
    # what it may do on the air beside the link that is there
    uses: ClassVar[Use] = Use.NOTHING

    name: str | None = None
    within: Duration | None = None
    attempts: int = 1
    on_fail: Literal["continue", "stop"] = "continue"
    only_after: StepNames | None = None
    only_if: dict[str, Limit] = {}
    device: str | None = None
    proves: RequirementIds | None = None
    keep_samples: int | None = None
    expect: dict[str, ReadingLimit] = {}
    save: dict[str, str] = {}

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong between the fields."""
        if not 1 <= self.attempts <= 100:
            yield Misfit(f"attempts must be from 1 to 100, not {self.attempts}", "for example: 3", path=("attempts",))
        if self.attempts > 1 and not self.tries_again:
            yield Misfit(f"a {self.verb} step is never tried again", "take out attempts", ("attempts",))
        if self.keep_samples is not None and not 0 <= self.keep_samples <= MOST_KEPT:
            message = f"expected a number of samples, 0 to {MOST_KEPT}, found {self.keep_samples}"
            yield Misfit(message, "for example: 500", ("keep_samples",))
        if self.within is not None and self.within.seconds == 0:
            yield Misfit("within must be more than 0 s", "for example: 5 s", path=("within",))
        if self.loses:
            yield from self._loss_misfits()

    def _loss_misfits(self) -> Iterable[Misfit]:
        """Where the step is over before the link may be lost."""
        bound = _bound_of(self.limits.get("lost_after"), "s")
        latest = max((edge for edge in (bound.low, bound.high) if is_number(edge)), default=0) if bound else 0
        if latest > self.deadline:
            message = f"{self.deadline:g} s are over before the {float(latest):g} s of the limit on lost_after"
            yield Misfit(message, f"write within: {float(latest) + 1:g} s or more", ("expect", "lost_after"))

    @property
    def is_open(self) -> bool:
        """Whether a reference decides what it does, and so which readings it has. Keys of every step decide neither."""
        return any(
            is_late(getattr(self, name)) for name in self.__struct_fields__ if name not in Step.__struct_fields__
        )

    @property
    def expects_silence(self) -> bool:
        """Whether it is right when the unit is not heard."""
        return False

    @property
    def loses(self) -> bool:
        """Whether the link is meant to end in it: it names a reading of that."""
        return self.may_lose and bool(LOST & {*self.limits, *(self.save if isinstance(self.save, dict) else ())})

    @classmethod
    def wires(cls, node: MappingNode) -> frozenset[str]:
        """What a step that is written so needs beside the radio: 'console', 'power'."""
        return frozenset()

    @classmethod
    def needed_by(cls, node: MappingNode) -> frozenset[Cap]:
        """What a step that is written so needs."""
        return cls.needs

    @classmethod
    def given_by(cls, node: MappingNode) -> frozenset[Cap]:
        """What a step that is written so gives."""
        return cls.gives

    @classmethod
    def ended_by(cls, node: MappingNode) -> frozenset[Cap]:
        """What a step that is written so ends."""
        return cls.ends

    @classmethod
    def used_by(cls, node: MappingNode) -> Use:
        """What a step that is written so may do on the air beside its link."""
        return cls.uses

    @classmethod
    def concealed_in(cls, node: MappingNode) -> list[Node]:
        """What a step that is written so has at the keys that it conceals."""
        return [found for key in cls.conceals if (found := node.get(key)) is not None]

    @classmethod
    def after_bond(cls, node: MappingNode, made: MappingNode) -> Misfit | None:
        """What is wrong with a step that is written so where the bond was made by a step that is written as `made`."""
        return None

    def misfits_of_names(self, names: Names) -> Iterable[Misfit]:
        """What is wrong with the attributes that it names, where it names several. Parts of it may wait for the run."""
        return ()

    def file_misfits(self, folder: Path) -> Iterable[Misfit]:
        """What is wrong with the files that the step sends; `folder` is that of the plan."""
        return ()

    def hints(self, names: Names) -> Iterable[str]:
        """What `check` says of a step that is right as it is: where it proves less than its reader may think."""
        return ()

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        """The readings by name, None when they are known only in the run. Misfit for an unknown attribute."""
        raise NotImplementedError

    def held(self, types: Mapping[str, ReadingType]) -> Iterable[Held]:
        """What it holds beside `expect`, with the types of its readings."""
        return ()

    async def run(self, bench: Bench) -> None:
        """Do it; report readings through the bench. Raises benchrig's errors."""
        raise NotImplementedError

    @property
    def title(self) -> str:
        """What the step is called in reports when it has no name."""
        subject = getattr(self, self.verb.replace(" ", "_"), None)
        return f"{self.verb} {subject}" if isinstance(subject, str) else self.verb

    @property
    def given_name(self) -> str | None:
        """The name that people gave it."""
        return self.name

    def subject(self, names: Names) -> str:
        """The attribute that the step is about, by its UUIDs; '' for none. Misfit for an unknown one."""
        about = getattr(self, self.verb.replace(" ", "_"), None)
        return names.meaning(about).address.text if isinstance(about, AttributeName) else ""

    @property
    def deadline(self) -> float:
        """Seconds for all attempts together."""
        return self.within.seconds if self.within is not None else self.within_default * self.attempts

    @property
    def limits(self) -> Mapping[str, Bindable]:
        return self.expect if isinstance(self.expect, dict) else {}  # a reference may stand for all of them


def least_of(limit: Bindable | None, unit: str = "") -> Any:
    """The lower bound of a limit on a number; None where it has none, or does not fit (that is told elsewhere)."""
    bound = _bound_of(limit, unit)
    return None if bound is None else bound.low


def _bound_of(limit: Bindable | None, unit: str = "") -> Any:
    """A limit tied to a number; None without one, and for one that does not fit."""
    try:
        return None if limit is None or is_late(limit) else limit.bind("number", unit)
    except Misfit:
        return None


SECONDS = ReadingType("number", "s", "time the action took")


def value_readings(names: Names, attribute: AttributeName, own: Format | None = None) -> dict[str, ReadingType] | None:
    """The `value` reading of an attribute, or one a field; None when only the device knows the attribute's format."""
    meaning = names.meaning(attribute)
    form = own or meaning.format
    if form is None:
        return None if meaning.address.handle is not None else {"value": ReadingType("bytes")}
    return dict(format_readings(form))


def decoded(form: Format | None, data: bytes) -> dict[str, Any]:
    """The readings of a value by name. MalformedValue."""
    value: Any = bytes(data) if form is None else form.decode(data)
    if isinstance(value, dict):
        return {f"value.{name}": item for name, item in flat(value).items()}
    return {"value": value}


def types_of(form: Format | None) -> Mapping[str, ReadingType]:
    """What the readings of a value in this format will be; without one it is read as bytes."""
    return {"value": ReadingType("bytes")} if form is None else format_readings(form)


@lru_cache(maxsize=256)
def format_readings(form: Format) -> MappingProxyType[str, ReadingType]:
    """The readings of a decoded value by name: `value`, or `value.<field>` for each field."""
    leaves = form.leaves() or {"": form}
    readings = {
        f"value.{name}" if name else "value": ReadingType(_KINDS[leaf.kind], leaf.unit, leaf.describe(), form=leaf)
        for name, leaf in leaves.items()
    }
    return MappingProxyType(readings)


_KINDS: dict[str, Kind] = {
    "number": "number", "text": "text", "bytes": "bytes", "boolean": "boolean", "time": "time", "list": "list",
    "struct": "any",
}  # fmt: skip
