"""What the attributes of a device are called: the shortest name that means one of them and no other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, TypeVar

from benchrig.errors import AttributeAmbiguous, AttributeMissing, DeviceError
from benchrig.plan.wording import service_name
from benchrig.radio.table import Characteristic, Descriptor, Found, Service, Table
from benchrig.source.shape import Misfit
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue

if TYPE_CHECKING:
    from benchrig.steps.attribute import Names

_Part = TypeVar("_Part", bound=Service | Characteristic | Descriptor)


class Namer:
    """Names for the attributes of a table; in `others`, those of further units, they mean not more than one either."""

    def __init__(self, table: Table, names: Names, others: Iterable[Table] = ()) -> None:
        self._table, self._names = table, names
        self._others = list(dict.fromkeys(others))
        meant = ((name, self._meant(name)) for name in names.aliases)
        self._own = {attribute[0]: name for name, attribute in meant if attribute is not None}

    def all(self) -> dict[str, Found]:
        """Names and attributes, in the order of the table."""
        return {self.name(found): found for found in self._table.attributes()}

    def name(self, found: Found) -> str:
        handle = found.attribute.handle
        return next((name for name in self._candidates(found) if self._means(name, found)), f"handle 0x{handle:04X}")

    def word(self, uuid: str, kind: str | None = "characteristic") -> str:
        """A name for every attribute with this UUID; 'serial number' rather than 'serial number string'."""
        label = self._names.label(uuid, kind)
        short = label.removesuffix(" string").removeprefix("characteristic ")
        return short if label != short and catalogue.uuid_of(short, kind) == uuid else label

    def _candidates(self, found: Found) -> Iterator[str]:
        if found.attribute.handle in self._own:
            yield self._own[found.attribute.handle]
        if len(found.chain) == 3:
            yield from self._of_descriptor(found)
            return
        characteristic, service = found.attribute, found.service
        word, around = self.word(characteristic.uuid), service_name(service.uuid)
        number = _number(characteristic, service.characteristics)
        nth = f"{around}[{_number(service, self._table.services)}]"
        yield from (word, f"{around}/{word}", f"{nth}/{word}", f"{around}/{word}[{number}]", f"{nth}/{word}[{number}]")

    def _of_descriptor(self, found: Found) -> Iterator[str]:
        around = found.around
        assert isinstance(around.attribute, Characteristic)
        word = f"{self.name(around)}/{self.word(found.attribute.uuid, 'descriptor')}"
        yield word
        yield f"{word}[{_number(found.attribute, around.attribute.descriptors)}]"

    def _means(self, name: str, found: Found) -> bool:
        attribute = found.attribute
        return self._meant(name) == (attribute.handle, attribute.uuid) and not any(
            self._is_ambiguous(name, table) for table in self._others
        )

    def _meant(self, name: str) -> tuple[int, str] | None:
        """Handle and UUID of the one attribute that a name means."""
        try:
            attribute = look_up(self._table, self._names, name).found.attribute
        except (DeviceError, Misfit):
            return None
        return attribute.handle, attribute.uuid

    def _is_ambiguous(self, name: str, table: Table) -> bool:
        """What is not in every table is no trouble here."""
        try:
            look_up(table, self._names, name)
        except AttributeAmbiguous:
            return True
        except AttributeMissing:
            pass
        return False


def _number(part: _Part, all_of_them: Sequence[_Part]) -> int:
    """Which of several with its UUID it is."""
    return [each.handle for each in all_of_them if each.uuid == part.uuid].index(part.handle)
