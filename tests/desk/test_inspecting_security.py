"""An inspection that pairs: what it finds out, and what another one is held against."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from benchrig.desk.comparing import Change, compare
from benchrig.desk.desk import Desk
from benchrig.desk.inspecting_security import PairingLook
from benchrig.desk.inspection import CharacteristicSeen, Inspection
from benchrig.desk.inspection_file import Document, load_document, save_document
from benchrig.desk.securing import Unattended
from benchrig.errors import OperatorError
from tests.desk.carriers import OWN, TEXTS
from tests.desk.kit import Clumsy, Reader, at_desk, inspected

FOB = TEXTS["pairing"]
KEYBOARD = PairingLook("keyboard")


def changes(before: Inspection, after: Inspection) -> list[tuple[str, str]]:
    return [(change.where.rpartition("/")[2], change.what) for change in compare(before, after).changed]


def attribute(seen: Inspection, number: int) -> CharacteristicSeen:
    return next(each for _, each in seen.characteristics() if each.uuid == OWN(number))


def test_what_needs_security_is_read_and_what_was_said_before_is_kept() -> None:
    seen = inspected(FOB, PairingLook("keyboard", twice=True, writes=(OWN(2),)))
    assert seen.security is not None
    assert (seen.security.method, seen.security.level) == ("passkey", "secure connections")
    assert (seen.security.key_size, seen.security.bonded, seen.security.same_passkey) == (16, True, False)
    found = attribute(seen, 2)
    assert found.content is not None
    assert found.guarded is not None
    assert (found.content.raw, found.guarded.refused, found.written_open) == ("6F6B", 5, False)
    assert found.access == "ATT error 0x05 (insufficient authentication)"


def test_what_pairing_does_not_reach_stays_refused() -> None:
    seen = inspected(FOB, PairingLook("none"))
    assert (attribute(seen, 2).refused, attribute(seen, 2).guarded) == (5, None)
    assert attribute(seen, 3).content is not None


def test_a_pairing_that_fails_is_told_and_the_rest_is_there() -> None:
    seen = inspected(FOB, KEYBOARD, party=Clumsy)
    assert seen.security is not None
    assert (seen.security.failure, seen.security.failed_by) == ("confirm value failed", "device")
    assert attribute(seen, 3).refused == 5
    assert seen.security.features is not None, "the device has said what it can before that"


def test_nobody_at_the_terminal_ends_the_inspection() -> None:
    with pytest.raises(OperatorError):
        inspected(FOB, KEYBOARD, party=lambda _: Unattended())


def test_a_file_keeps_it_and_one_of_before_is_read(tmp_path: Path) -> None:
    seen = inspected(FOB, KEYBOARD)
    save_document(Document(seen, []), tmp_path / "a.json")
    assert load_document(tmp_path / "a.json").inspection == seen
    old = msgspec.json.decode((tmp_path / "a.json").read_bytes())
    del old["inspection"]["security"]
    (tmp_path / "b.json").write_bytes(msgspec.json.encode(old))
    assert load_document(tmp_path / "b.json").inspection.security is None


def test_two_inspections_differ_in_protection_whether_they_have_paired_or_not() -> None:
    paired, plain = inspected(FOB, KEYBOARD), inspected(FOB)
    assert changes(paired, plain) == changes(plain, paired) == []
    weak = FOB.replace("read_needs: encrypted", "")
    for before in (paired, plain):
        for after in (inspected(weak, KEYBOARD), inspected(weak)):
            assert changes(before, after) == [(OWN(3), "access")]


def test_what_pairing_came_to_is_compared() -> None:
    legacy = inspected(
        FOB.replace("capability: display", "capability: display, pairing: legacy, key_size: 7"), KEYBOARD
    )
    found = compare(inspected(FOB, KEYBOARD), legacy).changed
    assert found == [Change("pairing", "secure connections", True, False), Change("pairing", "key size", 16, 7)]
    assert changes(inspected(FOB, PairingLook("none")), legacy) == [], "paired as something else"


def test_a_command_pairs_once_and_uses_the_bond_then() -> None:
    said: list[str] = []

    async def work(desk: Desk) -> None:
        desk.party = Reader(desk)
        for _ in range(2):
            _, link = await desk.reach()
            assert (await desk.read(link, OWN(2)))[1] == b"ok"
            await desk.device.close()

    at_desk(work, FOB, said=said, pair="keyboard")
    assert said == [
        "paired: passkey, Secure Connections, authenticated, key of 16 bytes, bonded",
        "encrypted with the key of the bond, key of 16 bytes",
    ]


def test_a_device_that_has_lost_its_key_is_paired_with_anew() -> None:
    said: list[str] = []

    async def work(desk: Desk) -> None:
        desk.party = Reader(desk)
        for _ in range(2):
            await desk.reach()
            await desk.device.close()

    at_desk(
        work,
        FOB.replace("capability: display", "capability: display, faults: {forgets_bonds: disconnection}"),
        said=said,
        pair="keyboard",
    )
    assert said[1] == "the device has lost its key of the bond: pairing anew"
    assert len(said) == 3
