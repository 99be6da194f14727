"""UUIDs as firmware gets them wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from msgspec.structs import replace

from benchrig.faults.mutation import Change
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec
from benchrig.values.assigned import defined_names
from benchrig.values.catalogue import name_of, normal_uuid, short_uuid

_OWN_BASE = "-27c1-4f5b-9d0e-58b1c6f2a713"
_DIGIT = 7  # the last of the first group: what tells attributes of one kind apart


def wrong_uuids(spec: ServiceSpec | CharacteristicSpec) -> Iterator[tuple[str, str, Change]]:
    """Each with its name, a part of a sentence, and the change."""
    own = str(spec.service if isinstance(spec, ServiceSpec) else spec.characteristic)
    is_short = len(short_uuid(own)) == 4
    yield "with a wrong digit", "one digit differs", _of(next_digit(own))
    if is_short:
        yield "of 128 bits", "128 bits of the maker in place of the standard one of 16 bits", _of(own[:8] + _OWN_BASE)
    else:
        yield (
            "of 16 bits",
            "16 bits, which are a standard's, in place of the maker's 128 bits",
            _of(normal_uuid(own[4:8])),
        )
        yield "in reverse order", "its bytes are in reverse order", _of(str(UUID(bytes=UUID(own).bytes[::-1])))


def next_digit(uuid: str) -> str:
    digit = (int(uuid[_DIGIT], 16) + 1) % 16
    return f"{uuid[:_DIGIT]}{digit:x}{uuid[_DIGIT + 1 :]}"


def _of(uuid: str) -> Change:
    def change(part: Any) -> Any:
        if isinstance(part, ServiceSpec):
            return replace(part, service=type(part.service).from_source(uuid))
        other = type(part.characteristic).from_source(uuid)
        return replace(with_format(part), characteristic=other, name=part.called)

    return change


def with_format(spec: CharacteristicSpec) -> CharacteristicSpec:
    """The same, with the format that its UUID stands for written out."""
    name = name_of(spec.characteristic, "characteristic")
    return spec if spec.given() or name not in defined_names() else replace(spec, as_=name)
