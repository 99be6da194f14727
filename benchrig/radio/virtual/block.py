"""Mappings of a device file in which behaviours stand by their keys, beside keys of the mapping's own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, ClassVar

import msgspec

from benchrig.radio.virtual.behaviour import Behaviour, Moment, On, key_of
from benchrig.radio.virtual.behaviours import BEHAVIOURS
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import Node


class Block(msgspec.Struct, frozen=True, kw_only=True):
    """The fields of a subclass are its own keys; the behaviours are those of its occasions."""

    occasions: ClassVar[frozenset[On]]

    behaviours: tuple[Behaviour, ...] = ()

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        read = reader.read(node, keys_of(cls))
        if not isinstance(read, _Keys):
            return read
        own = {name: getattr(read, name) for name in cls.__struct_fields__ if name != "behaviours"}
        made = cls(behaviours=tuple(read.behaviours()), **own)
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

    def value(self, moment: Moment, value: bytes) -> bytes:
        """What is answered to a read, instead of this value."""
        for behaviour in self._at(On.READ, moment):
            value = behaviour.value(moment, value)
        return value

    def _at(self, occasion: On, moment: Moment) -> Iterator[Behaviour]:
        return (one for one in self.behaviours if occasion in one.on and one.when.holds(moment))


class _Keys(msgspec.Struct, frozen=True, kw_only=True):
    """What is written: a field for each behaviour that may stand there, and those of the block."""

    kinds: ClassVar[list[type[Behaviour]]]

    def behaviours(self) -> Iterator[Behaviour]:
        for kind in self.kinds:
            key, _ = key_of(kind)
            given = getattr(self, key)
            if given is not None and given is not False:
                yield kind(**{key: given})

    def misfits(self) -> Iterable[Misfit]:
        for one in self.behaviours():
            key, _ = key_of(type(one))
            yield from (Misfit(found.message, found.advice, (key, *found.path)) for found in one.misfits())
        first, *more = [key_of(type(one))[0] for one in self.behaviours() if one.is_answer] or [""]
        if more:
            yield Misfit(f"'{first}' and '{more[0]}' exclude each other", "keep one of the two", (more[0],))


@cache
def keys_of(block: type[Block]) -> type[msgspec.Struct]:
    """What is read at a block, as the reader takes it."""
    kinds = [kind for kind in BEHAVIOURS if kind.on & block.occasions]
    own = [field for field in msgspec.structs.fields(block) if field.name != "behaviours"]
    fields = [_written(*key_of(kind)) for kind in kinds] + [(one.name, one.type, _default(one)) for one in own]
    return msgspec.defstruct(
        f"{block.__name__}Keys", fields, bases=(_Keys,), namespace={"kinds": kinds}, frozen=True, kw_only=True
    )


def _written(key: str, kind: Any) -> tuple[str, Any, Any]:
    return (key, bool, False) if kind is bool else (key, kind | None, None)


def _default(field: msgspec.structs.FieldInfo) -> Any:
    if field.default_factory is not msgspec.NODEFAULT:
        return msgspec.field(default_factory=field.default_factory)
    return msgspec.field(default=field.default)
