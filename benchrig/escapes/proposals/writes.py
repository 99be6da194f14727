"""Steps that write: what is written is kept, what is around it is not touched, what must be refused is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from benchrig.draft.attributes import AttributeEvidence
from benchrig.errors import MalformedValue
from benchrig.escapes.proposals.attributes import Attributes, Subject
from benchrig.escapes.proposals.candidate import A_TIME, POWER, SOME_TEXT, Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import StepText
from benchrig.source.writing import Quoted
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import exact, is_number
from benchrig.values.structs import StructFormat
from benchrig.values.text import TextFormat

# Another value is so many steps of its format away: first one in which a swap of bytes shows.
_STEPS = (258, 37, 3, 1, -1)
# Neither UTF-8 nor UTF-16.
_NO_TEXT = b"\xff\xfe\xff"
_WRITE, _COMMAND = "write", "write without response"


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    settings = [each for each in attributes.subjects if is_setting(each)]
    for subject in settings:
        yield from _kept(subject, [each for each in settings if each is not subject])
    for seen in attributes.found.subjects:
        if seen.is_descriptor and seen.reads:
            yield from _descriptor(seen)
    for subject in attributes.subjects:
        if {_WRITE, _COMMAND} & set(subject.seen.properties):
            yield from _beside(subject, [each for each in attributes.subjects if each.value is not None])
            yield from _refused(subject)


def is_setting(subject: Subject) -> bool:
    """Whether it can be written and had the same value each time: one that does not keep it fails on the sound device."""
    return {"read", _WRITE} <= set(subject.seen.properties) and subject.value is not None


def _kept(subject: Subject, beside: Sequence[Subject]) -> Iterator[Candidate]:
    name, old = subject.seen.name, subject.value
    assert old is not None
    for new in others(subject, old):
        write = subject.step("write", f"{name} takes another value", **subject.written(new), read_back=True)
        restore = subject.step("write", f"{name} is as it was", **subject.written(old), read_back=True)
        write.hold("elapsed", A_TIME)
        yield Candidate("write", f"{name} keeps what is written", "no step writes another value", [write, restore])
        around = [_still(each, f"{each.seen.name} when {name} was written") for each in beside]
        if around:
            plain = subject.step("write", f"{name} takes a value beside others", **subject.written(new))
            back = subject.step("write", f"{name} is as it was beside others", **subject.written(old))
            why = "nothing looks at the other values when one is written"
            yield Candidate("write", f"a write of {name} changes nothing else", why, [plain, *around, back])
        yield _outlives(subject, new, old, "the link", [StepText("disconnect"), _again(f"{name} after the link")])
        power = [StepText("power", "cycle"), _again(f"{name} after a power failure")]
        yield _outlives(subject, new, old, "a power failure", power, POWER)


def _beside(subject: Subject, others: Sequence[Subject]) -> Iterator[Candidate]:
    """What is written and not kept, a command, touches nothing that can be read."""
    spec, around = subject.spec, [each for each in others if each is not subject]
    if is_setting(subject) or spec is None or not around or _WRITE not in subject.seen.properties:
        return
    if data := subject.example():
        name = subject.seen.name
        write = subject.step("write", f"{name} is written beside others", **subject.written(data))
        write.hold("elapsed", A_TIME)
        still = [_still(each, f"{each.seen.name} when {name} was used") for each in around]
        why = "nothing looks at the other values when it is written"
        yield Candidate("write", f"a write of {name} touches nothing", why, [write, *still])


def _outlives(
    subject: Subject, new: bytes, old: bytes, what: str, between: Sequence[StepText], needs: str = ""
) -> Candidate:
    name = subject.seen.name
    steps = [
        subject.step("write", f"{name} before {what}", **subject.written(new)),
        *between,
        _still(subject, f"{name} outlives {what}", new),
        subject.step("write", f"{name} is as it was, after {what}", **subject.written(old), read_back=True),
    ]
    return Candidate("write", f"{name} outlives {what}", f"no step looks at it after {what}", steps, needs=needs)


def _again(name: str) -> StepText:
    return StepText("connect", None, {"name": f"connect: {name}", "attempts": 3})


def _still(subject: Subject, name: str, value: bytes | None = None) -> StepText:
    value = subject.value if value is None else value
    assert value is not None
    return subject.reading(name, value)


def _refused(subject: Subject) -> Iterator[Candidate]:
    """What the sound device answers to values that it cannot mean; where it takes one nothing is proposed."""
    for what, data in _bad(subject):
        name = f"{subject.seen.name} refuses {what}"
        step = subject.step("write", name, raw=_raw(data))
        step.hold("att_error", SOME_TEXT)
        why = "nothing tries what has to be refused"
        after = [_still(subject, f"{subject.seen.name} after {what}")] if is_setting(subject) else []
        yield Candidate("refusal", name, why, [step, *after])


def _descriptor(seen: AttributeEvidence) -> Iterator[Candidate]:
    """A descriptor that nobody may write."""
    data = next(iter(next(iter(seen.reads.values()))))
    name = f"{seen.name} cannot be written"
    step = StepText("write", seen.name, {"name": name, "raw": _raw(data)})
    step.hold("att_error", SOME_TEXT)
    yield Candidate("refusal", name, "nothing tries to write a descriptor", [step])


def _bad(subject: Subject) -> Iterator[tuple[str, bytes]]:
    """Values outside the range, too long and too short, and one that it could take."""
    form = subject.spec.format if subject.spec is not None else subject.seen.form
    good = subject.value or bytes((form.size if form is not None else None) or 1)
    if isinstance(form, IntegerFormat):
        low, high = form.legal
        for what, number in (
            ("a value below its range", low - abs(form.scale)),
            ("a value above its range", high + abs(form.scale)),
        ):
            if (data := _bytes(form, number)) is not None:
                yield what, data
    if not is_setting(subject):
        yield "a value", good
    elif form is not None and form.size is not None:
        yield "a byte too much", good + b"\0"
        yield "a byte too few", good[:-1]
    elif isinstance(form, TextFormat):
        yield "bytes that are not text", _NO_TEXT


def _bytes(form: IntegerFormat, number: Fraction) -> bytes | None:
    """The bytes of a number that the format could carry and does not allow."""
    raw = (number - form.offset) / form.scale
    if raw.denominator != 1 or not form.lowest <= raw <= form.highest:
        return None
    return (int(raw) & ((1 << form.bits) - 1)).to_bytes(form.size, form.order)


def others(subject: Subject, old: bytes) -> Iterator[bytes]:
    """Another value that the device may be told: of a number one that is not far, of a text one of the same length."""
    form = subject.spec.format if subject.spec is not None else subject.seen.form
    if isinstance(form, IntegerFormat):
        number: Any = form.decode(old)
        made = (_legal(form, exact(number) + step * abs(form.scale)) for step in _STEPS) if is_number(number) else ()
        yield from [data for data in made if data is not None and data != old][:1]
    elif isinstance(form, StructFormat):
        yield from _with_another_field(form, old)
    elif subject.seen.is_text or (form is not None and form.kind == "text"):
        yield b"benchrig" if old != b"benchrig" else b"bench"
    elif old:
        # bytes that differ from each other, so that a swap of them shows
        yield bytes(each ^ (0x55 + place) & 0xFF for place, each in enumerate(old))


def _with_another_field(form: StructFormat, old: bytes) -> Iterator[bytes]:
    """A structure in which the first number that may be another one is."""
    values: Any = form.decode(old)
    for name, leaf in form.leaves().items():
        if isinstance(leaf, IntegerFormat) and is_number(values.get(name)):
            for number in (exact(values[name]) + step * abs(leaf.scale) for step in _STEPS):
                if _legal(leaf, number) is not None:
                    yield form.encode({**values, name: number})
                    return


def _legal(form: IntegerFormat, number: Fraction) -> bytes | None:
    low, high = form.legal
    if not low <= number <= high:
        return None
    try:
        return form.encode(number)
    except (MalformedValue, ValueError):
        return None


def _raw(data: bytes) -> Any:
    return Quoted(data.hex(" ").upper())
