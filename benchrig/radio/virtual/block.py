"""Mappings of a device file in which behaviours stand by their keys, beside keys of the mapping's own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, ClassVar

import msgspec

from benchrig.radio.virtual.behaviour import Behaviour, Moment, On, Update, When, key_of
from benchrig.radio.virtual.behaviours import BEHAVIOURS
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import Node

SOMETIMES = "sometimes"


class Block(msgspec.Struct, frozen=True, kw_only=True):
    """The fields of a subclass are its own keys; the behaviours are those of its occasions, first those of some times, then
    those of each. `has_times`: the key `sometimes` may stand there."""

    occasions: ClassVar[frozenset[On]]
    has_times: ClassVar[bool] = True

    behaviours: tuple[Behaviour, ...] = ()

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        read = reader.read(node, keys_of(cls))
        if not isinstance(read, _Keys):
            return read
        own = {name: getattr(read, name) for name in cls.__struct_fields__ if name != "behaviours"}
        some = [one for entry in getattr(read, SOMETIMES, []) for one in entry.behaviours()]
        made = cls(behaviours=(*some, *read.behaviours()), **own)
        found = [reader.misfit(node, misfit) for misfit in made.misfits()]
        return found[0] if found else made

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong between its keys."""
        return ()

    async def meet(self, occasion: On, moment: Moment) -> None:
        """Let the behaviours act. Raises Unanswered and Refused."""
        await self.begin(occasion, moment)
        await self.end(occasion, moment)

    async def begin(self, occasion: On, moment: Moment) -> None:
        """What comes before the answer."""
        for behaviour in self._at(occasion, moment):
            if not behaviour.is_answer:
                await behaviour.act(moment)

    async def end(self, occasion: On, moment: Moment) -> None:
        """What stands in place of the answer. Raises Unanswered and Refused."""
        for behaviour in self._at(occasion, moment):
            if behaviour.is_answer:
                await behaviour.act(moment)

    def is_answered(self, occasion: On, moment: Moment) -> bool:
        """Whether nothing stands in place of the answer."""
        return not any(behaviour.is_answer for behaviour in self._at(occasion, moment))

    def value(self, occasion: On, moment: Moment, value: bytes) -> bytes:
        """What is answered to a read, or kept of a write, instead of this value."""
        for behaviour in self._at(occasion, moment):
            value = behaviour.value(moment, value)
        return value

    def update(self, moment: Moment) -> Update:
        """What becomes of a value that is sent."""
        update = Update(moment.value)
        for behaviour in self._at(On.NOTIFY, moment):
            update = behaviour.update(moment, update)
        return update

    def lag(self, occasion: On, moment: Moment) -> float:
        """Seconds by which what belongs to the occasion is done later; infinite: never."""
        return sum(behaviour.lag(moment) for behaviour in self._at(occasion, moment))

    def _at(self, occasion: On, moment: Moment) -> Iterator[Behaviour]:
        return (one for one in self.behaviours if occasion in one.on and one.when.holds(moment, key_of(type(one))[0]))


class _Keys(msgspec.Struct, frozen=True, kw_only=True):
    """What is written: a field for each behaviour that may stand there, and those of the block."""

    kinds: ClassVar[list[type[Behaviour]]]

    @property
    def at(self) -> When:
        return When()

    def behaviours(self) -> Iterator[Behaviour]:
        for kind in self.kinds:
            key, _ = key_of(kind)
            given = getattr(self, key)
            if given is not None and given is not False:
                yield kind(**{key: given}, when=self.at)

    def misfits(self) -> Iterable[Misfit]:
        for one in self.behaviours():
            key, _ = key_of(type(one))
            yield from (Misfit(found.message, found.advice, (key, *found.path)) for found in one.misfits())
        first, *more = [key_of(type(one))[0] for one in self.behaviours() if one.is_answer] or [""]
        if more:
            yield Misfit(f"'{first}' and '{more[0]}' exclude each other", "keep one of the two", (more[0],))


class _Entry(_Keys, frozen=True, kw_only=True):
    """An entry of `sometimes`: the keys of When beside those of the behaviours."""

    @property
    def at(self) -> When:
        given = {name: getattr(self, name) for name in When.__struct_fields__ if hasattr(self, name)}
        return When(**given)

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        yield from self.at.misfits()
        if self.at == When():
            yield Misfit("this would happen each time", "write from, every, times, after or share beside it")
        if not any(True for _ in self.behaviours()):
            yield Misfit(
                "nothing happens at these times", f"write one of {', '.join(key_of(k)[0] for k in self.kinds)}"
            )


@cache
def keys_of(block: type[Block]) -> type[msgspec.Struct]:
    """What is read at a block, as the reader takes it."""
    own = [field for field in msgspec.structs.fields(block) if field.name != "behaviours"]
    fields: list[Any] = [(one.name, one.type, _default(one)) for one in own]
    if block.has_times:
        fields.append((SOMETIMES, list[entry_of(block)], msgspec.field(default_factory=list)))  # type: ignore[misc]
    return _keys(f"{block.__name__}Keys", _Keys, _kinds(block), fields)


@cache
def entry_of(block: type[Block]) -> type[msgspec.Struct]:
    """What is read in its key `sometimes`. There is one start in a run: it has no times."""
    kinds = [kind for kind in _kinds(block) if kind.on != {On.START}]
    left_out = () if On.NOTIFY in block.occasions else ("starts_with",)
    times = [field for field in msgspec.structs.fields(When) if field.name not in left_out]
    fields = [(one.name, one.type, _default(one)) for one in times]
    return _keys(f"{block.__name__}Sometimes", _Entry, kinds, fields)


def _kinds(block: type[Block]) -> list[type[Behaviour]]:
    return [kind for kind in BEHAVIOURS if kind.on & block.occasions]


def _keys(name: str, base: type[_Keys], kinds: list[type[Behaviour]], own: list[Any]) -> type[msgspec.Struct]:
    fields = [_written(*key_of(kind)) for kind in kinds] + own
    return msgspec.defstruct(name, fields, bases=(base,), namespace={"kinds": kinds}, frozen=True, kw_only=True)


def _written(key: str, kind: Any) -> tuple[str, Any, Any]:
    return (key, bool, False) if kind is bool else (key, kind | None, None)


def _default(field: msgspec.structs.FieldInfo) -> Any:
    name = field.encode_name if field.encode_name != field.name else None
    if field.default_factory is not msgspec.NODEFAULT:
        return msgspec.field(default_factory=field.default_factory, name=name)
    return msgspec.field(default=field.default, name=name)
