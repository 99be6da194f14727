"""Whatever an inspection shows, its twin is a device file, and shows the same."""

from __future__ import annotations

import random

from hypothesis import given, settings

from benchrig.desk.inspection import Inspection
from benchrig.draft.evidence import Evidence
from benchrig.draft.from_files import add_inspection
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.steps.attribute import Names
from benchrig.twin.seen import Seen
from benchrig.twin.table import CCCD
from benchrig.twin.writing import Twin, twin_of
from tests.desk.test_any_inspection import SEEDS, Device
from tests.draft.test_any_device import texts


def made(seen: Inspection) -> Twin:
    evidence = Evidence()
    add_inspection(evidence, seen, "saved.json")
    return twin_of(Seen(evidence, Names()))


def shown(device: DeviceSpec) -> list[tuple[str, str, list[str], list[str]]]:
    """The table: service, characteristic, properties, descriptors."""
    return [
        (str(service.service), str(one.characteristic), [*one.properties], [str(each.descriptor) for each in one.descriptors if each.descriptor != CCCD])
        for service in device.table
        for one in service.characteristics
    ]  # fmt: skip


@given(SEEDS)
def test_any_table_and_its_values(seed: int) -> None:
    seen = Device(seed).inspection()
    seen.whole_table = True
    if not seen.services:
        return
    device = made(seen).device
    attributes = [(service, one) for service, one in seen.characteristics()]
    assert shown(device) == [
        (service.uuid, one.uuid, one.properties, [each.uuid for each in one.descriptors if each.uuid != CCCD])
        for service, one in attributes
    ]
    for (_, one), spec in zip(
        attributes, (one for service in device.table for one in service.characteristics), strict=True
    ):
        if one.content is not None:
            assert spec.source.fresh().take(0.0, random.Random(1)) == one.content.data


@settings(max_examples=10)
@given(name=texts, seed=SEEDS)
def test_any_name(name: str, seed: int) -> None:
    seen = Device(seed).inspection()
    if seen.services:
        seen.advertising.name = name
        seen.address = "C4:00:00:00:00:01"
        assert made(seen).device.address == seen.address
