"""What a method that is awaited returns: nothing is done before it is awaited, and until then the run knows of it."""

from __future__ import annotations

from collections.abc import Coroutine, Generator
from typing import Any, TypeVar

from benchrig.api.place import calling_place
from benchrig.source.problem import Problem

T_co = TypeVar("T_co", covariant=True)


class Awaited(Coroutine[Any, Any, T_co]):
    """A coroutine for all that takes one. It is among `waiting` until it begins. `words` say what was asked for."""

    def __init__(
        self, coroutine: Coroutine[Any, Any, T_co], words: tuple[object, ...], waiting: dict[Awaited[Any], None]
    ) -> None:
        self.__qualname__ = str(getattr(coroutine, "__qualname__", ""))  # what asyncio calls its task
        self._coroutine, self._words, self._waiting = coroutine, words, waiting
        self._place = calling_place()
        waiting[self] = None

    @property
    def problem(self) -> Problem:
        """That nobody awaited it."""
        asked = " ".join(each for each in self._words if isinstance(each, str))
        return Problem(self._place, f"{asked} was never awaited", "write await in front of it")

    def __await__(self) -> Generator[Any, Any, T_co]:
        return self._begun.__await__()

    def send(self, value: Any) -> Any:
        return self._begun.send(value)

    def throw(self, *error: Any) -> Any:
        return self._begun.throw(*error)

    def close(self) -> None:
        self._begun.close()

    @property
    def _begun(self) -> Coroutine[Any, Any, T_co]:
        self._waiting.pop(self, None)
        return self._coroutine
