"""robust: bad and odd requests, which the unit has to bear."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.errors import BenchrigError, DeviceError, LinkLost, StepTimeout, UnfitValue, UsageError
from benchrig.radio.security import Level
from benchrig.radio.turns import Use
from benchrig.requests.drawing import KINDS, able, drawn
from benchrig.requests.request import Request, Send
from benchrig.requests.right import LONGEST_VALUE
from benchrig.requests.table import Target
from benchrig.requests.wording import request_of, text_of
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit, describe_value
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, Step
from benchrig.steps.bench import Bench, WrittenStep
from benchrig.steps.ordeal import Findings, Ordeal, is_to_encrypt
from benchrig.steps.refusal import NONE
from benchrig.steps.survey import Survey
from benchrig.values.channels import SMP
from benchrig.values.quantity import Duration

MOST_REQUESTS = 1_000_000
# Seconds that each request may take, beside those for death and return.
_EACH = 0.5
# So many of the requests that kill are told in a sentence.
_TOLD = 3
# Links that may be lost though as many harmless requests lose none.
_MOST_UNEXPLAINED = 1

Kind = Literal[
    "lengths", "offsets", "prepared", "opcodes", "truncated", "responses", "overlapping", "mtu", "handles", "uuids",
    "subscriptions", "connections", "channels", "pairing", "signalling",
]  # fmt: skip


class RequestText(str):
    """A request as it is written; `request` is what it means."""

    __slots__ = ("request",)
    request: Request
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> RequestText:
        if not isinstance(value, str):
            raise Misfit(f"expected a request, found {describe_value(value)}", "for example: read blob 0x0012 at 513")
        request = request_of(value)
        made = cls(text_of(request))
        made.request = request
        return made


class Robust(Step, kw_only=True):
    """Send so many bad and odd requests, drawn from `seed`, or those of a list, and see that the unit answers each rightly, keeps
    its values and stays usable. What kills it is shrunk to the shortest list, and saved as a plan.

    Nothing names an attribute of `protect`; values are written to those of `writes` alone, and put back."""

    verb: ClassVar[str] = "robust"
    uses: ClassVar[Use] = Use.CONNECT
    usual: ClassVar[str] = "died"
    writes: ClassVar[bool] = True
    needs_caution: ClassVar[bool] = True
    tries_again: ClassVar[bool] = False
    within_default: ClassVar[float] = 600.0

    robust: int | None
    requests: list[RequestText] = msgspec.field(default_factory=list)
    only: list[Kind] = msgspec.field(default_factory=list)
    without: list[Kind] = msgspec.field(default_factory=list)
    seed: int | None = None
    protect: list[AttributeName] = msgspec.field(default_factory=list)
    writes_: list[AttributeName] = msgspec.field(name="writes", default_factory=list)
    answers_within: Duration = msgspec.field(default_factory=lambda: Duration.of(5))
    returns_within: Duration = msgspec.field(default_factory=lambda: Duration.of(30))

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.robust is None) == (not self.requests):
            yield Misfit("a robust step needs either a number of requests or a list of them", "for example: 500")
        if self.robust is not None and not 1 <= self.robust <= MOST_REQUESTS:
            yield Misfit(
                f"expected 1 to {MOST_REQUESTS} requests, found {self.robust}", "for example: 500", ("robust",)
            )
        for key in ("answers_within", "returns_within"):
            if not getattr(self, key).seconds:
                yield Misfit(f"{key} must be more than 0 s", "for example: 5 s", (key,))
        yield from self._misfits_of_kinds()
        yield from self._misfits_of_attributes()

    def _misfits_of_kinds(self) -> Iterable[Misfit]:
        for key in ("only", "without", "seed"):
            if self.requests and getattr(self, key) not in ([], None):
                yield Misfit(f"{key} is for requests that are drawn", "take out the key, or requests", (key,))
        if both := [kind for kind in self.only if kind in self.without]:
            yield Misfit(f"'{both[0]}' is in only and in without", "keep it in one of them", ("without",))
        elif not self.kinds:
            yield Misfit("no kind of request is left", "take some kinds out of without", ("without",))

    def _misfits_of_attributes(self) -> Iterable[Misfit]:
        for index, name in enumerate(self.writes_):
            if name in self.protect:
                yield Misfit(f"'{name}' is in writes and in protect", "keep it in one of them", ("writes", index))

    @property
    def kinds(self) -> list[str]:
        return [kind for kind in KINDS if kind in (self.only or KINDS) and kind not in self.without]

    @property
    def count(self) -> int:
        return self.robust or len(self.requests)

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within is not None else self.within_default + _EACH * self.count

    @property
    def title(self) -> str:
        return f"robust {self.robust}" if self.robust else "robust"

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        for key, listed in (("writes", self.writes_), ("protect", self.protect)):
            for index, name in enumerate(listed):
                _check_name(names, name, (key, index))
        return _READINGS

    async def run(self, bench: Bench) -> None:
        level = bench.link.security.level
        encrypts = await is_to_encrypt(bench)
        survey = Survey(_handles(bench, self.protect), _handles(bench, self.writes_))
        await survey.begin(bench)
        ordeal = Ordeal(bench, survey, self.answers_within.seconds, self.returns_within.seconds, encrypts=encrypts)
        await ordeal.bear(self._cases(bench, survey.target), self.count)
        found = ordeal.findings
        if found.killer:
            self._save(bench, found, _levels(level) if encrypts else [])
        if found.tried.get("pairing") or any(_is_smp(text.request) for text in self.requests):
            bench.note(
                "SMP packets were sent: a unit that makes who fails wait may refuse the next pairing for a while"
            )
        self._report(bench, found)
        self._conclude(found)

    def _cases(self, bench: Bench, target: Target) -> Iterator[tuple[str, Sequence[Request]]]:
        if self.requests:
            for text in self.requests:
                if wrong := target.misfit(text.request):
                    raise UnfitValue(f"'{text}' is not sent: {wrong}", advice="name the attribute in writes")
            return iter([("listed", [text.request]) for text in self.requests])
        seed = self.seed if self.seed is not None else _seed(bench)
        bench.note(f"requests are drawn from seed {seed}")
        there = able(target, self.kinds, random.Random(seed))
        if left := [kind for kind in self.kinds if kind not in there]:
            bench.note(f"nothing to send of these kinds: {', '.join(left)}")
        if "lengths" in there and target.commanded and target.most_octets <= LONGEST_VALUE:
            bench.note(
                f"writes without response of more than {target.most_octets} bytes are left out: the MTU is {target.mtu}"
            )
        if not there:
            message = f"the unit has nothing that requests of these kinds may touch: {', '.join(left)}"
            raise UsageError(message, advice="name attributes in writes, or take other kinds")
        return drawn(target, there, random.Random(seed))

    def _report(self, bench: Bench, found: Findings) -> None:
        died = bool(found.how)
        bench.reading("requests", found.requests)
        bench.reading("answered", found.answered)
        first = f"; the first: {found.wrong[0]}" if found.wrong else ""
        bench.reading("wrong_answers", found.wrong_count, telling=lambda sentence: sentence + first)
        if found.wrong or bench.wanted("wrong"):
            bench.reading("wrong", found.wrong)
        bench.reading("died", died, telling=(lambda sentence: f"{sentence}: {_death(found)}") if died else None)
        if died or bench.wanted("death"):
            bench.reading("death", found.how or NONE)
        if died or bench.wanted("killed_by"):
            bench.reading("killed_by", [text_of(request) for request in found.killer])
        bench.reading("slowest", round(found.slowest, 6), "s")
        if found.lost_links or bench.wanted("lost_links"):
            bench.reading("lost_links", found.lost_links)
        for kind in KINDS:
            if bench.wanted(f"tried.{kind}"):
                bench.reading(f"tried.{kind}", found.tried.get(kind, 0))

    def _conclude(self, found: Findings) -> None:
        """Death and wrong answers fail the step, unless a limit decides about them."""
        if found.how and not {"died", "death", "killed_by"} & {*self.limits}:
            raise DeviceError(f"the device died: {_death(found)}")
        if found.wrong_count and not {"wrong_answers", "wrong"} & {*self.limits}:
            raise DeviceError(f"{counted(found.wrong_count, 'wrong answer')}; the first: {found.wrong[0]}")
        if found.unexplained > _MOST_UNEXPLAINED and "lost_links" not in self.limits:
            raise _unexplained(found)
        if found.requests < self.count and not found.how and "requests" not in self.limits:
            raise StepTimeout(f"only {found.requests} of {self.count} requests in {self.deadline:g} s")

    def _save(self, bench: Bench, found: Findings, pairing: Sequence[WrittenStep]) -> None:
        """The list that kills as a plan of its own."""
        keys: dict[str, Any] = {"requests": [text_of(request) for request in found.killer]}
        keys |= {
            key: [*map(str, listed)] for key, listed in (("writes", self.writes_), ("protect", self.protect)) if listed
        }
        said = (
            "tried on its own, it kills the unit"
            if found.proven
            else "not tried on its own: the unit did not come back"
        )
        step = WrittenStep("robust", None, keys, {"died": {"equals": False}}, [f"{found.how} ({said})"])
        steps = [WrittenStep("scan"), WrittenStep("connect"), *pairing, step]
        saved = bench.save_plan("killer", "What kills the unit", steps)
        told = "; it pairs first: see whether its pair step is that of this plan" if pairing else ""
        bench.note(f"what kills the unit is saved as {saved}{told}")


_READINGS = {
    "requests": ReadingType("number", "", "requests that were sent"),
    "answered": ReadingType("number", "", "requests that were answered"),
    "wrong_answers": ReadingType("number", "", "answers that the specification does not allow, and values that were not kept"),
    "wrong": ReadingType("list", "", "these, in words"),
    "died": ReadingType("boolean", "", "whether the unit stopped working, and did so again for the same requests"),
    "death": ReadingType("text", "", f"how it died; '{NONE}' when it lives"),
    "killed_by": ReadingType("list", "", "the shortest list of requests that was found to kill it"),
    "slowest": ReadingType("number", "s", "longest time that an answer took"),
    "lost_links": ReadingType("number", "", "links that were lost, and not again for the same requests"),
    **{f"tried.{kind}": ReadingType("number", "", f"requests of the kind {kind}") for kind in KINDS},
}  # fmt: skip


def _death(found: Findings) -> str:
    """How, and of what, as far as it is told in a sentence."""
    by = ", then ".join(text_of(request) for request in found.killer[:_TOLD])
    more = f", and {len(found.killer) - _TOLD} more" if len(found.killer) > _TOLD else ""
    return f"{found.how}; killed by: {by}{more}"


def _is_smp(request: Request) -> bool:
    return isinstance(request, Send) and request.channel == SMP


def _levels(level: Level | None) -> list[WrittenStep]:
    """How a plan gets to that level of security. What the plan of the run typed is secret, and in no other one."""
    said = ["the requests went over an encrypted link: write here how the unit pairs"]
    return [
        WrittenStep("pair", "none" if (level or Level.NO_SECURITY) < Level.AUTHENTICATED else "keyboard", remarks=said)
    ]


def _unexplained(found: Findings) -> BenchrigError:
    kind = DeviceError if found.by_device else LinkLost
    message = f"{found.lost_links} links were lost after bad requests, and none with as many harmless ones"
    return kind(message, advice="send more requests, so that what kills is found; or add a limit on lost_links")


def _check_name(names: Names, name: AttributeName, path: tuple[str | int, ...]) -> None:
    try:
        names.meaning(name)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, path) from misfit


def _handles(bench: Bench, listed: Iterable[AttributeName]) -> set[int]:
    """The handles of attributes; those of their descriptors too."""
    found: set[int] = set()
    for name in listed:
        attribute = bench.target(name).found.attribute
        found |= {attribute.handle, *(each.handle for each in getattr(attribute, "descriptors", ()))}
    return found


def _seed(bench: Bench) -> int:
    seed = bench.device.radio.seed
    return random.SystemRandom().randrange(2**32) if seed is None else seed
