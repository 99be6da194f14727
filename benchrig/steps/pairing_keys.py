"""The keys that say how the bench pairs: those of a `pair` step, and of each level that another step pairs for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar, cast, get_args

import msgspec

from benchrig.radio.security import (
    CAPABILITIES,
    LARGEST_KEY,
    SMALLEST_KEY,
    Capability,
    Method,
    Pairings,
    Wish,
    usual_mitm,
)
from benchrig.radio.security import OobData as Oob
from benchrig.source.problem import suggest
from benchrig.source.references import has_reference
from benchrig.source.shape import LATE, Misfit, Reader, describe, describe_value, is_late, octets
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.base import Bindable
from benchrig.values.passkey import LARGEST_PASSKEY, SIX_DIGITS, digits_of

OCTETS = LARGEST_KEY
# Which methods a capability makes possible, whatever the unit has (Core Vol 3 Part H 2.3.5.1, table 2.8)
METHODS: dict[Capability, tuple[Method, ...]] = {
    "none": ("just works",),
    "display": ("just works", "passkey"),
    "yes/no": ("just works", "passkey", "numeric comparison"),
    "keyboard": ("just works", "passkey"),
    "keyboard and display": ("just works", "passkey", "numeric comparison"),
}
_SIX = "expected six digits in quotes"
_EXAMPLE = "for example: '042517'"


class PairAs(str):
    """An input and output capability; nothing at all is 'none'."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"enum": [*CAPABILITIES, None]}

    @classmethod
    def from_source(cls, value: Any) -> PairAs:
        word = "none" if value is None else value
        if word in CAPABILITIES:
            return cls(word)
        advice = suggest(value, CAPABILITIES) if isinstance(value, str) else ""
        raise Misfit(f"expected one of {', '.join(CAPABILITIES)}; found {describe_value(value)}", advice)


class Digits(str):
    """Six digits that nobody else is to know."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "pattern": r"^[0-9]{6}$|\$\{"}
    words: ClassVar[tuple[str, ...]] = ()

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        """What is wrong with the digits is told without them. A number that a reference stands for needs no zeros before
        it, one that is written does: '000042' and 42 are two things to who types them."""
        if has_reference(node):
            return LATE
        value = node.value if isinstance(node, Scalar) else None
        filled_in = isinstance(node, Scalar) and (node.final or node.quoted)
        if isinstance(value, int) and not isinstance(value, bool) and filled_in and 0 <= value <= LARGEST_PASSKEY:
            return cls(digits_of(value))
        if isinstance(value, str) and (value in cls.words or SIX_DIGITS.fullmatch(value)):
            return cls(value)
        return reader.misfit(node, Misfit(f"{cls._expected()}, found {_kind_of(node)}", _EXAMPLE))

    @classmethod
    def _expected(cls) -> str:
        return ", or ".join([_SIX, *cls.words])

    @property
    def number(self) -> int:
        return int(self)

    def __repr__(self) -> str:
        return "Digits(…)"


class Passkey(Digits):
    """A passkey: 000000 to 999999."""

    __slots__ = ()


class Number(Digits):
    """What the unit shows in a numeric comparison, or what is said to it whatever it shows."""

    __slots__ = ()
    words = ("accept", "refuse")
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "pattern": r"^[0-9]{6}$|^(accept|refuse)$|\$\{"}


def _kind_of(node: Node) -> str:
    """What was written, without telling it: how many digits are no secret."""
    if not isinstance(node, Scalar) or isinstance(node.value, bool) or node.value is None:
        return describe(node)
    text = node.text if isinstance(node.value, int) and not node.final else str(node.value)
    if text.isdecimal():
        return f"{len(text)} digits" + ("" if node.quoted or len(text) != len("000000") else " without quotes")
    return "another text" if isinstance(node.value, str) else "another number"


class OutOfBand(msgspec.Struct, frozen=True, omit_defaults=True):
    """What is known of the unit beside the radio (NFC, a label): of Secure Connections its random value and its confirm
    value, of legacy pairing the temporary key; hex text, most significant octet first."""

    random: str | None = None
    confirm: str | None = None
    key: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        given = {name for name in self.__struct_fields__ if getattr(self, name) is not None}
        if given not in ({"random", "confirm"}, {"key"}):
            found = " and ".join(sorted(given)) or "neither"
            message = f"expected random and confirm (Secure Connections), or key (legacy); found {found}"
            yield Misfit(message, "for example: {random: HEX, confirm: HEX}")
        for name in sorted(given):
            yield from _misfits_of_octets(name, getattr(self, name))

    @property
    def data(self) -> Oob:
        return Oob(*(octets(text) if text else b"" for text in (self.random, self.confirm, self.key)))

    def __repr__(self) -> str:
        return "OutOfBand(…)"


def _misfits_of_octets(name: str, text: str) -> Iterator[Misfit]:
    try:
        length = len(octets(text))
    except Misfit as misfit:
        yield Misfit("expected bytes as hex text", misfit.advice if "'" not in misfit.advice else "", (name,))
        return
    if length != OCTETS:
        yield Misfit(f"expected {OCTETS} bytes, found {length}", path=(name,))


class Pairing(msgspec.Struct, kw_only=True, omit_defaults=True):
    """As what the bench pairs, and where its numbers come from. The keys of a `pair` step have the same names."""

    direct: ClassVar[str] = "pair"

    pair: PairAs
    mitm: bool | None = None
    pairing: Pairings = "either"
    bonding: bool = True
    key_size: int = LARGEST_KEY
    passkey: Passkey | None = None
    number: Number | None = None
    out_of_band: OutOfBand | None = None

    @property
    def capability(self) -> Capability:
        return cast("Capability", str(self.pair))

    @property
    def wish(self) -> Wish:
        oob = self.out_of_band.data if self.out_of_band else None
        mitm = usual_mitm(self.capability, has_oob=oob is not None) if self.mitm is None else self.mitm
        return Wish(self.capability, mitm, self.pairing, self.bonding, self.key_size, oob=oob)

    def misfits(self) -> Iterable[Misfit]:
        if not SMALLEST_KEY <= self.key_size <= LARGEST_KEY:
            message = f"a key has {SMALLEST_KEY} to {LARGEST_KEY} bytes, not {self.key_size}"
            yield Misfit(message, f"write key_size: {LARGEST_KEY}, or leave it out", ("key_size",))
        if self.passkey is not None and "passkey" not in self.methods:
            message = f"as '{self.capability}' no passkey is asked for"
            yield Misfit(
                message, "write pair: keyboard (the unit shows it) or display (the unit types it)", ("passkey",)
            )
        if self.number is not None and "numeric comparison" not in self.methods:
            yield self._no_comparison()
        if self.out_of_band is not None:
            yield from self._beside_out_of_band(self.out_of_band)

    def _no_comparison(self) -> Misfit:
        if self.pairing == "legacy":
            return Misfit("legacy pairing compares no numbers", "take out number, or pairing", ("number",))
        message = f"as '{self.capability}' no numbers are compared"
        return Misfit(message, "write pair: yes/no, or pair: keyboard and display", ("number",))

    def _beside_out_of_band(self, oob: OutOfBand) -> Iterator[Misfit]:
        for key in ("passkey", "number"):
            if getattr(self, key) is not None:
                yield Misfit(f"with out_of_band no {key} is asked for", f"take out {key}, or out_of_band", (key,))
        if oob.key is not None and self.pairing == "secure connections":
            message, advice = "the key of out_of_band is for legacy pairing", "write random and confirm"
            yield Misfit(message, advice, ("out_of_band", "key"))
        if oob.random is not None and self.pairing == "legacy":
            message, advice = "random and confirm are for Secure Connections", "write key, or take out pairing"
            yield Misfit(message, advice, ("out_of_band", "random"))

    @property
    def methods(self) -> tuple[Method, ...]:
        """Those that can result, whatever the unit has."""
        if self.out_of_band is not None:
            return ("just works", "passkey", "numeric comparison", "out of band")
        found = METHODS[self.capability]
        return tuple(each for each in found if each != "numeric comparison" or self.pairing != "legacy")

    @property
    def possible(self) -> Mapping[str, tuple[Any, ...]]:
        """All that the readings can be, whatever the unit is."""
        secure = {"either": (True, False), "secure connections": (True,), "legacy": (False,)}[self.pairing]
        return {
            "method": self.methods,
            "secure_connections": secure,
            "authenticated": (False,) if self.methods == ("just works",) else (True, False),
            "bonded": (True, False) if self.bonding else (False,),
            "key_size": tuple(range(SMALLEST_KEY, self.key_size + 1)),
        }

    def contradicted(self, limits: Mapping[str, Bindable]) -> Iterator[Misfit]:
        """Limits that no pairing with these keys satisfies."""
        for name, values in self.possible.items():
            if name == "method" and not any(may_be(limits.get(name), word) for word in get_args(Method)):
                continue  # no word of a method, which is told
            if name in limits and not any(may_be(limits[name], value) for value in values):
                found = " or ".join(_said(value) for value in values[-4:])
                message = f"with these keys {name} is {found}, so the limit is never satisfied"
                yield Misfit(message, "change the limit, or the keys of the pairing", ("expect", name))


def _said(value: Any) -> str:
    return str(value).lower()


def may_be(limit: Bindable | None, value: Any) -> bool:
    """Whether a reading with this value can satisfy the limit; a limit that does not apply is told elsewhere."""
    if limit is None or is_late(limit):
        return True
    kind = "boolean" if isinstance(value, bool) else "number" if isinstance(value, int) else "text"
    try:
        return bool(limit.bind(kind).passes(value))  # type: ignore[arg-type]
    except Misfit:
        return True
