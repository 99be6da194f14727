"""What is wrong between the labels of a station: one label has one meaning."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from benchrig.source.shape import Misfit
from benchrig.station.checks import Reference
from benchrig.station.products import Product
from benchrig.station.slots import SlotSpec
from benchrig.station.words import WORDS, word_in
from benchrig.values.pattern import Regex, group_names, matches

# On a screen of 80 columns several slots are side by side.
LONGEST_SLOT = 12
Path: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True)
class Labels:
    """Of one station file."""

    slots: Mapping[str, SlotSpec]
    products: Mapping[str, Product]
    references: Mapping[str, Reference]
    people: Regex | None

    def misfits(self) -> Iterator[Misfit]:
        yield from _names(self.slots)
        yield from self._doubled()
        yield from self._patterns()
        yield from self._equal_patterns()
        for name, reference in self.references.items():
            yield from self._of_reference(name, reference.label.strip())
        for name, product in self.products.items():
            yield from _given_twice(name, product)

    @property
    def _fixed(self) -> list[tuple[str, str, Path]]:
        """Texts that are labels as they are written: the text, whose it is, where it is written."""
        names = [(name, f"the name of slot {name}", ("slots", name)) for name in self.slots]
        labels = [
            (slot.label.strip(), f"the label of slot {name}", ("slots", name, "label"))
            for name, slot in self.slots.items()
            if slot.label.strip() and slot.label.strip() != name
        ]
        units = [
            (each.label.strip(), f"the label of '{name}'", ("references", name, "label"))
            for name, each in self.references.items()
        ]
        return [*names, *labels, *units]

    def _doubled(self) -> Iterator[Misfit]:
        seen = dict[str, str]()
        for text, whose, path in self._fixed:
            if (word := word_in(text)) is not None:
                yield Misfit(f"{whose} is '{text}', and {word} is a word of the line", "take another text", path)
            elif text in seen:
                yield Misfit(f"{whose} is '{text}', as is {seen[text]}", "give each of them its own text", path)
            seen.setdefault(text, whose)

    def _patterns(self) -> Iterator[Misfit]:
        """A pattern that also fits what has another meaning. Words come first when a label is read: a pattern that fits one of
        them by chance is none the worse, but one that fits them all says nothing, as '.*'."""
        for what, pattern, path in self._all_patterns():
            of_people = path == ("people",)
            fixed = [(text, whose) for text, whose, where in self._fixed if where[0] == "slots" or of_people]
            fits = next((whose for text, whose in fixed if matches(pattern, text)), None)
            if fits is None and all(matches(pattern, word) for word in WORDS):
                fits = f"the words of the line: {', '.join(WORDS)}"
            if fits is not None:
                yield Misfit(f"the pattern {what} also fits {fits}", "write a narrower pattern", path)

    def _all_patterns(self) -> Iterator[tuple[str, Regex, Path]]:
        for name, product in self.products.items():
            yield f"of the product '{name}'", product.barcode, ("products", name, "barcode")
        if self.people is not None:
            yield "of a badge", self.people, ("people",)

    def _equal_patterns(self) -> Iterator[Misfit]:
        seen = dict[str, str]()
        for what, pattern, path in self._all_patterns():
            if (other := seen.setdefault(str(pattern), what)) != what:
                yield Misfit(f"the pattern {what} is that {other} too: a label would fit both", "tell them apart", path)

    def _of_reference(self, name: str, label: str) -> Iterator[Misfit]:
        fits = [product for product, each in self.products.items() if matches(each.barcode, label)]
        path = ("references", name, "label")
        if label and len(fits) != 1:
            found = " and ".join(f"'{each}'" for each in fits) or "none"
            yield Misfit(
                f"expected a label that fits one product, found {found} for '{label}'",
                "scan the label of the unit",
                path,
            )


def _names(slots: Iterable[str]) -> Iterator[Misfit]:
    for name in slots:
        if not name.strip() or not name.isprintable() or name != name.strip() or len(name) > LONGEST_SLOT:
            yield Misfit(
                f"expected the name of a slot, 1 to {LONGEST_SLOT} characters, found '{name}'",
                "for example: '1'",
                ("slots", name),
            )


def _given_twice(name: str, product: Product) -> Iterator[Misfit]:
    for group in group_names(product.barcode):
        if group in product.given:
            yield Misfit(
                f"the barcode gives '{group}' already",
                "take it out of given, or out of the barcode",
                ("products", name, "given", group),
            )
