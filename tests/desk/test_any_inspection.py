"""Whatever a device says: findings and comparisons come out, never an error."""

from __future__ import annotations

from random import Random
from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from benchrig.desk.comparing import compare
from benchrig.desk.findings import findings
from benchrig.desk.findings.requirements import requirements
from benchrig.desk.findings.values import length_fits
from benchrig.desk.inspection import (
    AdvertisingSeen,
    AttributeSeen,
    CharacteristicSeen,
    Content,
    DescriptorSeen,
    Inspection,
    ServiceSeen,
    Timing,
    content,
)
from benchrig.errors import MalformedValue
from benchrig.radio.table import PROPERTIES
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid

DEFINED = [number for number in range(0x2A00, 0x2C00) if catalogue.definition(number) is not None]
LISTED = [int(uuid, 16) for rule in requirements().services.values() for uuid in rule.characteristics]
SERVICES = [*(int(uuid, 16) for uuid in requirements().services), 0x1800, 0xFFE0]
CHARACTERISTICS = [*DEFINED, *LISTED, 0x2FFF]
REFUSED = [2, 5, 0x0F]
SEEDS = st.integers(0, 2**32 - 1)


class Device:
    """Inspections at random; drawn by hypothesis they would cost a hundred times what is tested."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)

    def inspection(self) -> Inspection:
        services = [self.service() for _ in range(self.random.randrange(4))]
        heard = AdvertisingSeen(
            self.random.choice(["", "unit 1", "\xe9"]), [long_uuid(self.random.choice(SERVICES))],
            payload=self.payload(), scan_response=self.payload(), connectable=self.flip(),
        )  # fmt: skip
        outline = [AttributeSeen(self.handle(), long_uuid(0x2803), "0A") for _ in range(self.random.randrange(3))]
        return Inspection("0", "", "r", True, "", "", heard, Timing(0, 0), 20, self.flip(), services, outline)

    def service(self) -> ServiceSeen:
        number = self.random.choice(SERVICES)
        inner = [self.characteristic() for _ in range(self.random.randrange(5))]
        return ServiceSeen(self.handle(), long_uuid(number), f"{number:04X}", inner)

    def characteristic(self) -> CharacteristicSeen:
        number = self.random.choice(CHARACTERISTICS)
        properties = [one for one in PROPERTIES if self.random.random() < 0.4]
        inner = [self.descriptor() for _ in range(self.random.randrange(4))]
        seen = self.content(catalogue.definition(number))
        return CharacteristicSeen(
            self.handle(), long_uuid(number), f"{number:04X}", properties, inner, seen, **self.unread()
        )

    def descriptor(self) -> DescriptorSeen:
        number = self.random.choice([*range(0x2900, 0x2910), 0x2FFF])
        temperature = catalogue.definition(0x2A6E)
        assert temperature is not None
        form = catalogue.valid_range_format(temperature) if number == 0x2906 else catalogue.definition(number)
        return DescriptorSeen(self.handle(), long_uuid(number), f"{number:04X}", self.content(form), **self.unread())

    def content(self, form: Format | None) -> Content | None:
        """Bytes read in the assigned format, in one of a plan, or in none; or no bytes."""
        size = form.size if form is not None and form.size and self.flip() else self.random.randrange(20)
        data = bytes(self.random.choice((0, 1, 0xFF, self.random.randrange(256))) for _ in range(size))
        plan = Content(data.hex(), "x", format="utf8", known_by="plan")
        assigned = content(data, form, "assigned number" if form else "")
        return self.random.choice([None, assigned, assigned, plan, content(data, None)])

    def payload(self) -> str | None:
        return self.random.choice([None, self.random.randbytes(self.random.randrange(40)).hex(), "0201060309FF41"])

    def unread(self) -> dict[str, Any]:
        refused = {"unread": "it refuses", "refused": self.random.choice(REFUSED)}
        return self.random.choice([{}, {"unread": "not readable"}, refused, refused])

    def handle(self) -> int:
        return self.random.randrange(1, 0x10000)

    def flip(self) -> bool:
        return self.random.random() < 0.5


@given(SEEDS)
def test_findings_come_out_of_anything(seed: int) -> None:
    for finding in findings(Device(seed).inspection()):
        assert finding.rule
        assert finding.sentence
        assert finding.source


@given(SEEDS)
def test_two_of_anything_compare_and_nothing_differs_from_itself(seed: int) -> None:
    device = Device(seed)
    one, other = device.inspection(), device.inspection()
    there, back = compare(one, other), compare(other, one)
    assert (there.added, there.removed, there.moved) == (back.removed, back.added, back.moved)
    assert compare(one, one).same_structure
    assert not compare(one, one).values


@given(SEEDS)
def test_anything_survives_a_file(seed: int) -> None:
    seen = Device(seed).inspection()
    assert msgspec.yaml.decode(msgspec.yaml.encode(seen), type=Inspection) == seen


@given(st.sampled_from(DEFINED), st.binary(max_size=20))
def test_a_length_that_does_not_fit_cannot_be_read(number: int, data: bytes) -> None:
    form = catalogue.definition(number)
    assert form is not None
    try:
        form.decode(data)
    except MalformedValue:
        return
    assert length_fits(form, data)
