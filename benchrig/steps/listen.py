"""listen: what attributes send by themselves, and the console prints, while steps run."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextlib import AbstractAsyncContextManager, AsyncExitStack
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

import msgspec

from benchrig.errors import BenchrigError, LinkLost, StepTimeout
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import Cap, Held, ReadingType
from benchrig.steps.bench import Bench
from benchrig.steps.composite import OF_STEPS, Came, Composite, CompositeBench
from benchrig.steps.console_stream import ConsoleLines
from benchrig.steps.listening import Also, Listening
from benchrig.steps.reaction import Reacting, Reaction
from benchrig.steps.rounds import RoundReadings
from benchrig.steps.stream import Streamed, of_one_sample, says_how_few
from benchrig.steps.subscription import Mode
from benchrig.values.format import FormatSpec
from benchrig.values.pattern import Regex

if TYPE_CHECKING:
    from benchrig.radio.link import Link

# Seconds that subscribing to all may take together, and ending that.
SUBSCRIBE_WITHIN, END_WITHIN = 5.0, 1.0


class Heard(msgspec.Struct, kw_only=True, omit_defaults=True, frozen=True):
    """How one of the streams is listened to."""

    counter: str | None = None
    mode: Mode | None = None
    format: FormatSpec | None = None
    matches: Regex | None = None

    def misplaced(self, name: str) -> Iterable[Misfit]:
        """The keys that the stream of this name does not have."""
        theirs, what = (_CHARACTERISTICS, "a characteristic") if name in RESERVED else (_CONSOLES, "the console")
        for key in theirs:
            if getattr(self, key) is not None:
                yield Misfit(f"'{key}' goes with {what}, not with '{name}'", "take it out", ("listen", name, key))


_CHARACTERISTICS, _CONSOLES = ("counter", "mode", "format"), ("matches",)


class Source(Protocol):
    """What brings a stream."""

    def readings(self, names: Names) -> dict[str, ReadingType] | None:
        """By their whole names; None when they are known only in the run. Misfit."""
        ...

    def misfits(self, expected: Iterable[str]) -> Iterable[Misfit]:
        """What is wrong with it, and with what is expected of it, as far as no name of an attribute matters."""
        ...

    def heard(self, bench: Bench, doing: str, *, also: Also) -> AbstractAsyncContextManager[Listening]: ...


def _characteristic(name: str, heard: Heard, limits: Mapping[str, Any]) -> Source:
    own = heard.format.built if heard.format else None
    return Streamed(AttributeName.from_source(name), heard.counter, heard.mode, own, f"{name}.")


# Names that stand for something else than a characteristic and need no link, and what makes a source of them.
RESERVED: dict[str, Callable[[str, Heard, Mapping[str, Any]], Source]] = {
    "console": lambda name, heard, limits: ConsoleLines(f"{name}.", heard.matches or "", limits),
}


class Listen(Composite, kw_only=True):
    """Listen to several streams while `steps` run. Their readings are NAME.READING, and those of a notify step each."""

    verb: ClassVar[str] = "listen"
    listens: ClassVar[bool] = True
    listen: dict[str, Heard | None]
    reactions: dict[str, Reaction] = msgspec.field(default_factory=dict)

    @classmethod
    def needed_by(cls, node: MappingNode) -> frozenset[Cap]:
        streams = node.get("listen")
        names = streams.entries if isinstance(streams, MappingNode) else ()
        return frozenset({Cap.LINK}) if any(name not in RESERVED for name in names) else frozenset()

    @classmethod
    def wires(cls, node: MappingNode) -> frozenset[str]:
        streams = node.get("listen")
        return frozenset({"console"} & streams.entries.keys()) if isinstance(streams, MappingNode) else frozenset()

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if not self.listen:
            yield Misfit("listen names no characteristic", "for example: listen: {battery level: {}}", ("listen",))
        for name in self._known:
            yield from (self.listen[name] or Heard()).misplaced(name)
            try:
                yield from self._source(name).misfits(self.expect)
            except Misfit as misfit:
                yield Misfit(misfit.message, misfit.advice, ("listen", name))
        for name in self.reactions:
            if "." in name or name in OF_STEPS:
                yield Misfit(f"'{name}' cannot be the name of a reaction", "give it another one", ("reactions", name))
            elif name not in {*self.expect, *self.save}:
                advice = f"add expect: {{{name}: {{max: …}}}}"
                yield Misfit(f"nothing is expected of the reaction '{name}'", advice, ("reactions", name))

    def misfits_inside(self, steps: Mapping[str, bool], *, instant: bool) -> Iterable[Misfit]:
        known = [] if is_late(self.reactions) else [each for each in self.reactions.items() if not is_late(each[1])]
        for name, reaction in known:
            path = ("reactions", name, "after")
            if reaction.after not in steps:
                yield Misfit(f"no step in it is named '{reaction.after}'", suggest(reaction.after, steps), path)
            elif steps[reaction.after]:
                message = f"'{reaction.after}' runs in many rounds, and a reaction is that to one of them"
                yield Misfit(message, "write the listen step into the repetition", path)

    def _source(self, name: str) -> Source:
        return RESERVED.get(name, _characteristic)(name, self.listen[name] or Heard(), self.limits)

    @property
    def _known(self) -> list[str]:
        """The streams of which nothing waits for the run."""
        return [name for name, heard in self.listen.items() if not is_late(heard)]

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        if len(self._known) < len(self.listen) or any(map(is_late, self.reactions.values())):
            return None
        found = OF_STEPS | {name: reaction.type for name, reaction in self.reactions.items()}
        for name in self.listen:
            try:
                own = self._source(name).readings(names)
            except Misfit as misfit:
                path = ("listen", name, *misfit.path) if misfit.path else ("listen", name)
                raise Misfit(misfit.message, misfit.advice, path) from misfit
            if own is None:
                return None
            found |= own
        return found

    def held(self, types: Mapping[str, ReadingType]) -> Iterable[Held]:
        for name, reaction in self.reactions.items():
            yield Held(("reactions", name, "until"), reaction.until, self._samples(types))

    def _samples(self, types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
        """What one sample of a stream has."""
        streams = tuple(f"{name}." for name in self.listen)
        return of_one_sample({name: kind for name, kind in types.items() if name.startswith(streams)})

    @property
    def title(self) -> str:
        return f"listen {', '.join(self.listen)}"

    # --- the run

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        reacting = self._reacting(bench)
        watch = _Watching(bench, self._of_inner_steps(bench), [*reacting.values()])
        async with self._open(bench, watch) as streams:
            link, began = bench.device.last, bench.now()
            came = await bench.inside.run("steps", watch=watch)
            elapsed, ended = bench.since(began), bench.now()
            lost_at = link.lost_at if link is not None and not link.is_up else ended
            for name, listening in streams.items():
                listening.end(ended if name in RESERVED else lost_at)
        if lost_at < ended and streams.keys() - RESERVED.keys():
            bench.note(f"the link ended {lost_at - began:.3f} s after the first step began, and with it the streams")
        self.cut_short(came)
        self._check_link(bench, came, link)
        self._report(bench, came, elapsed, streams, reacting)
        watch.report()
        self.conclude(came)
        self._check(streams)

    def _check_link(self, bench: CompositeBench, came: Came, link: Link | None) -> None:
        """What a stream brings until it loses its link against the plan says too little, whatever may fail. InnerError,
        LinkLost where no step in it is about this link."""
        if link is None or link.is_up or link.ended_here or RESERVED.keys() >= self.listen.keys():
            return
        if came.error is not None and came.error.cause == "link":
            raise came.error
        if not bench.device.is_up and not bench.device.was_ended:
            raise LinkLost(f"the link was lost, and with it the streams ({link.lost_reason})")

    def _reacting(self, bench: CompositeBench) -> dict[str, Reacting]:
        types = self._samples(self.readings(bench.names) or {})
        steps = {name: bench.inside.called(reaction.after) or "" for name, reaction in self.reactions.items()}
        return {name: Reacting(self.reactions[name], step, types) for name, step in steps.items()}

    def _of_inner_steps(self, bench: CompositeBench) -> set[str]:
        """The readings that limits and `save` name and that are not those of a stream."""
        own = self.readings(bench.names) or ()
        return {name for name in (*self.limits, *self.save) if name not in own}

    @contextlib.asynccontextmanager
    async def _open(self, bench: CompositeBench, watch: _Watching) -> AsyncIterator[dict[str, Listening]]:
        """All streams. Of two things that go wrong the first one is told."""
        stack = AsyncExitStack()
        try:
            yield {name: await self._opened(bench, stack, name, watch) for name in self.listen}
        except BaseException:
            with contextlib.suppress(BenchrigError):
                await bench.own(stack.aclose(), END_WITHIN)
            raise
        await bench.own(stack.aclose(), END_WITHIN)

    async def _opened(self, bench: CompositeBench, stack: AsyncExitStack, name: str, watch: _Watching) -> Listening:
        heard = self._source(name).heard(bench, f"listen to {name}", also=partial(watch.hear, name))
        return await bench.own(stack.enter_async_context(heard), SUBSCRIBE_WITHIN)

    def _report(
        self,
        bench: CompositeBench,
        came: Came,
        elapsed: float,
        streams: Mapping[str, Listening],
        reacting: Mapping[str, Reacting],
    ) -> None:
        for listening in streams.values():
            listening.report()
        for name, each in reacting.items():
            each.report(bench, name)
        bench.reading("elapsed", elapsed, "s")
        self.report_counts(bench, came)

    def _check(self, streams: Mapping[str, Listening]) -> None:
        """What is wrong with a stream that no limit says: malformed values, or none at all."""
        for name, listening in streams.items():
            if (error := listening.error or listening.malformed) is not None:
                raise error
            if not (listening.count or listening.may_be_silent or says_how_few(self.limits.get(f"{name}.count"))):
                raise StepTimeout(f"no {listening.noun} of {name} arrived while its steps ran")


class _Watching(RoundReadings):
    """What happens in the steps, for the reactions, and what these steps measure."""

    def __init__(self, bench: CompositeBench, reported: set[str], reacting: list[Reacting]) -> None:
        super().__init__(bench, reported, set())
        self._reacting = reacting

    def begins(self, step: str) -> None:
        super().begins(step)
        for each in self._reacting:
            each.begins(step, self._bench.now())

    def hear(self, stream: str, found: Mapping[str, Any]) -> None:
        if self._reacting:
            now, named = self._bench.now(), {f"{stream}.{name}": value for name, value in found.items()}
            for each in self._reacting:
                each.hear(stream, named, now)
