"""A draft picks its unit from the air that it was drafted in."""

from __future__ import annotations

import pytest

from benchrig.draft.compose import Draft, compose
from benchrig.draft.evidence import Evidence, KnownUnit
from benchrig.draft.from_devices import Collecting, collect
from benchrig.draft.selecting import title
from benchrig.propose.proposal import Basis
from benchrig.radio.scan import Selection
from benchrig.steps.attribute import Names
from tests.desk.kit import at_desk
from tests.draft.kit import broken, loaded
from tests.run.kit import device_text, run


def kettle(number: int, name: str = "Kettle-{:02}", more: str = "") -> str:
    return device_text(
        "services:\n  - service: battery\n    characteristics:\n"
        "      - {characteristic: battery level, properties: [read], value: 80 %}\n",
        name=name.format(number),
        address=f"C4:00:00:00:02:{number:02X}",
        more=more,
    )


KETTLES = tuple(map(kettle, range(1, 6)))
# two devices that advertise one name
TWINS = tuple(kettle(number, "Kettle").replace("device: Kettle", f"device: twin {number}") for number in (1, 2))


def draft(*devices: str, each: bool = False, **selection: object) -> Draft:
    chosen, how = Selection(**selection), Collecting(repeat=1, listen=0.5, each=each)  # type: ignore[arg-type]
    evidence = at_desk(lambda desk: collect(desk, how), *devices, selection=chosen)
    return compose(evidence, Names(), Basis(), chosen)


def picks(made: Draft) -> Selection:
    return loaded(made.text).selection()


def test_a_unit_alone_stands_for_its_kind() -> None:
    made = draft(kettle(1), device_text(name="Other"), name="Kettle-01")
    assert (picks(made).name, made.warning) == ("Kettle-*", "")


def test_a_unit_among_its_kind_has_its_name_in_full() -> None:
    made = draft(*KETTLES, name="Kettle-03")
    assert picks(made).name == "Kettle-03"
    assert made.warning == (
        "the plan picks the name Kettle-03 in full: 4 other devices heard here would have matched Kettle-*"
    )
    assert f"  # {made.warning}\n" in made.text
    assert broken(run(made.text, *KETTLES)) == {}


def test_of_units_with_one_name_the_address_picks() -> None:
    made = draft(*TWINS, address="C4:00:00:00:02:02")
    assert picks(made) == Selection(address="C4:00:00:00:02:02")
    assert "by its address: 1 other device heard here" in made.warning
    assert broken(run(made.text, *TWINS)) == {}


def test_the_nearest_that_was_asked_for_stands_in_the_plan() -> None:
    near = kettle(1, more="rssi: {mean: -40 dBm}")
    made = draft(near, *KETTLES[1:], name="Kettle-*", nearest=6.0, rssi_min=-70.0)
    assert picks(made) == Selection(name="Kettle-*", rssi_min=-70.0, nearest=6.0)
    assert broken(run(made.text, near, *KETTLES[1:])) == {}


def test_several_units_keep_their_pattern_and_the_person_is_told() -> None:
    made = draft(*KETTLES, each=True, name="Kettle-*")
    assert picks(made).name == "Kettle-*"
    assert made.warning.startswith("5 devices heard here match the selection, and a run that hears several")
    assert "  # 5 devices heard here match the selection, and a run that hears several of them ends as" in made.text
    assert "  # Keep one unit at a time within range" in made.text
    ran = run(made.text, *KETTLES)
    assert ran.ended.exit_code == 7
    assert broken(run(made.text, kettle(3))) == {}


@pytest.mark.parametrize(
    ("names", "plan"),
    [
        (["Kettle-01", "Kettle-02"], "Kettle, drafted"),
        (["Kettle-01"], "Kettle-01, drafted"),
        (["Kettle", "Kettle"], "Kettle, drafted"),
        (["7", "8"], "7, drafted"),
        (["", ""], "A device, drafted"),
        (["$"], "A device, drafted"),
    ],
)
def test_the_plan_is_called_after_what_its_units_have_in_common(names: list[str], plan: str) -> None:
    assert title(Evidence(met=[KnownUnit(str(number), name, "") for number, name in enumerate(names)])) == plan


def test_a_short_uuid_is_written_in_one_way() -> None:
    device = device_text(
        "services:\n  - service: 'fff0'\n    characteristics:\n"
        "      - {characteristic: 'fff1', properties: [read], as: uint8, value: 3}\n"
    )
    made = draft(device, name="unit 1")
    assert "    own FFF1: {uuid: FFF1, as: hex}\n" in made.text
    assert "fff" not in made.text
