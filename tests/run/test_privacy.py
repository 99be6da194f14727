"""The privacy step: sound units pass, each fault fails where it should, and no neighbour is taken for the unit."""

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from tests.run.kit import run

KEY = "ec0234a357c8ad05341010a60a397d9b"
BY_KEY = f"plan: a plan\ndevice:\n  select: {{identity_key: '{KEY}'}}\n"
BY_NAME = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\n"
AIRS = pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
BOTH_AIRS = pytest.mark.parametrize("air", [None, "rough"])
SCAN = "steps:\n  - scan:\n    for: 1 s\n"


def unit(privacy="", *, name="unit 1", address="C4:00:00:00:00:01", data="", key=KEY, others=""):
    said = data or f"flags: 6, name: {name}"
    given = f", key: '{key}'" if key else ""
    return (
        f"device: {name}\naddress: '{address}'\nadvertising: {{interval: 250 ms, data: {{{said}}}}}\n"
        f"privacy: {{every: 10 s{given}{', ' if privacy else ''}{privacy}}}\n{others}"
    )


def listen(text, *devices, head=BY_KEY, seconds=35, expect="", **more):
    step = f"  - privacy: {seconds} s\n    expect: {{{expect}}}\n"
    return run(head + SCAN + step, text, *devices, **more)


SOUND = (
    "address_kinds: {equals: [resolvable private]}, resolves: {equals: true}, rotates_after: {min: 9 s, max: 11 s}, "
    "addresses: {min: 3}, constant: {equals: []}, continues: {equals: []}"
)
FRESH = "manufacturer: {company: 0xFFFF, fresh: 4, counter: {every: 1 s, anew: true}}"


def broken(ran):
    """The readings that failed their limits, and how the step ended."""
    step = ran.record.steps[-1]
    return [each.name for each in step.readings if each.judgement and not each.judgement.passed], step.ended


@BOTH_AIRS
def test_a_sound_unit_passes(air):
    ran = listen(unit(data=FRESH), expect=SOUND, air=air)
    assert broken(ran)[0] == []
    assert ran.ended.verdict == "pass"
    assert ran.reading("2", "addresses").value == 4
    assert ran.reading("2", "rotates_after").samples.count == 2
    assert any(
        getattr(event, "text", "") == "the unit was told by the identity key of the plan" for event in ran.events
    )


@AIRS
@pytest.mark.parametrize(
    ("privacy", "data", "failed"),
    [
        ("never_rotates: true", FRESH, ["rotates_after", "addresses", "constant", "continues"]),
        ("", "name: unit 1", ["constant"]),
        ("", "tx_power: 4 dBm, service_data: {battery: '63'}", ["constant"]),
        ("", "manufacturer: {company: 0xFFFF, data: '0102', fresh: 4}", ["constant"]),
        ("", "manufacturer: {company: 0xFFFF, counter: {every: 1 s}}", ["constant", "continues"]),
        ("", "manufacturer: {company: 0xFFFF, fresh: 4, counter: {every: 500 ms, bytes: 4}}", ["constant", "continues"]),
    ],
    ids=["never rotates", "name", "tx power and service data", "a part", "counter", "counter behind random bytes"],
)  # fmt: skip
def test_faults_of_a_unit_that_its_key_proves(air, privacy, data, failed):
    """Of a counter the high bytes stay the same too."""
    found, ended = broken(listen(unit(privacy, data=data), expect=SOUND, air=air))
    assert sorted(found) == sorted(failed)
    assert (ended.verdict, ended.cause) == ("fail", "limit")


@pytest.mark.parametrize(
    ("every", "limit"), [("25 s", "max: 15 s"), ("5 s", "min: 10 s"), ("17 s", "max: 16 s"), ("9 s", "min: 10 s")]
)
def test_an_address_that_lasts_too_long_or_too_short(every, limit):
    text = unit(data=FRESH).replace("every: 10 s", f"every: {every}")
    found, ended = broken(listen(text, expect=f"rotates_after: {{{limit}}}"))
    assert (found, ended.verdict) == (["rotates_after"], "fail")


@pytest.mark.parametrize("privacy", ["identity_every: 2", "another_key: true"])
def test_an_address_that_the_key_of_the_plan_does_not_prove_is_silence(privacy):
    ran = listen(unit(privacy, data=FRESH), expect=SOUND)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")
    assert "was not heard" in ran.ended.message


@BOTH_AIRS
def test_a_unit_that_falls_silent_fails(air):
    """Its address did not last longer than the limit, as far as anybody knows."""
    text = unit(data=FRESH, others="faults: {stop_advertising_after: 20 s}\n")
    ran = listen(text, expect="rotates_after: {max: 11 s}", air=air)
    ended = ran.record.steps[-1].ended
    assert (ended.verdict, ended.cause) == ("fail", "link")
    assert ended.message.startswith("the unit was not heard for 16")


@AIRS
@pytest.mark.parametrize("head", [BY_KEY, BY_NAME])
def test_a_neighbour_of_its_kind(head, air):
    """One with another key that rotates too. By the key the unit is told; without one nobody can tell."""
    neighbour = unit(name="unit 2", address="C4:00:00:00:00:02", key="")
    ran = listen(unit(), neighbour, head=head, expect="rotates_after: {max: 11 s}", air=air)
    if head == BY_KEY:
        assert ran.ended.verdict == "pass"
    else:
        assert (ran.ended.verdict, ran.ended.cause) == ("error", "station")
        assert "ambiguous" in ran.ended.message


def test_without_a_key_the_selection_tells_and_the_record_says_so():
    ran = listen(unit(), head=BY_NAME, expect="rotates_after: {max: 11 s}")
    assert ran.ended.verdict == "pass"
    assert any("by the selection alone" in getattr(event, "text", "") for event in ran.events)
    ran = listen(unit(), head=BY_NAME, expect="resolves: {equals: true}")
    assert ran.ended.verdict != "pass"
    assert "no identity key of the unit is known" in str(ran.record.steps[-1])


def test_without_a_key_nothing_is_said_of_what_comes_later():
    wait = "  - wait: 12 s\n"
    plan = BY_NAME + SCAN + wait + "  - privacy: 35 s\n    expect: {rotates_after: {max: 11 s}}\n"
    ran = run(plan, unit())
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "station")
    assert "cannot be told from another device" in ran.ended.message


def test_a_unit_without_privacy():
    text = "device: unit 1\naddress: 'C4:00:00:00:00:01'\nadvertising: {interval: 100 ms}\n"
    found, ended = broken(
        listen(text, head=BY_NAME, expect="address_kinds: {equals: [resolvable private]}, rotates_after: {max: 11 s}")
    )
    assert found == ["address_kinds", "rotates_after"]
    assert ended.cause == "limit"


def test_the_newest_address_is_the_one_to_connect_to():
    plan = BY_KEY + SCAN + "  - privacy: 35 s\n  - connect:\n    within: 3 s\n"
    assert run(plan, unit()).verdicts() == ["pass", "pass", "pass"]


@pytest.mark.parametrize(
    ("step", "problem"),
    [
        ("privacy: 20 s\n    expect: {rotates_after: {max: 11 s}}", "20 s is too short to tell whether an address lasts 11 s"),
        ("privacy: 20 s\n    expect: {rotates_after: {min: 11 s}}", "20 s is too short to tell whether an address lasts 11 s"),
        ("privacy: 20 s\n    expect: {rotates_after: {min: 5 s, max: 11 s}}", "20 s is too short to tell whether an address lasts 11 s"),
        ("privacy: 0 s", "it has to listen for some time"),
        ("privacy:", "expected a time with its unit, found nothing"),
        ("privacy: 20 s\n    within: 10 s", "within 10 s ends before the 20 s of listening are over"),
        ("privacy: 20 s\n    attempts: 2", "a privacy step is never tried again"),
        ("privacy: 20 s\n    expect: {address_kinds: {contains: static}}", "a kind of address is never 'static'"),
        ("privacy: 20 s\n    expect: {rotate_after: {max: 5 s}}", "rotate_after"),
        ("privacy: 20 s\n    expect: {constant: {lacks: nmae}}", "lacks says nothing of what it does not name"),
        ("privacy: 20 s\n    expect: {continues: {differs: [name]}}", "differs says nothing of what it does not name"),
    ],
)  # fmt: skip
def test_what_check_says(tmp_path, step, problem):
    path = tmp_path / "plan.yaml"
    path.write_text(BY_NAME + SCAN + f"  - {step}\n")
    with pytest.raises(PlanError) as caught:
        load_plan(path, {})
    assert problem in str(caught.value)


BONDED = "steps:\n  - scan:\n    for: 500 ms\n  - connect:\n  - pair: none\n  - disconnect:\n"


def bonded(text, *devices, expect=SOUND, seconds=35, **more):
    """The bench bonds with the unit, and listens."""
    return run(BY_NAME + BONDED + f"  - privacy: {seconds} s\n    expect: {{{expect}}}\n", text, *devices, **more)


NAMED = f"{FRESH}, name: unit 1"
NAME_STAYS = SOUND.replace("constant: {equals: []}", "constant: {equals: [name]}")


@AIRS
@pytest.mark.parametrize(
    ("privacy", "failed"),
    [
        ("", []),
        ("never_rotates: true", ["addresses", "constant", "continues", "rotates_after"]),
        ("address: non resolvable", ["address_kinds", "resolves"]),
        ("another_key: true", ["resolves"]),
        ("identity_every: 3", ["address_kinds"]),
    ],
)
def test_a_bonded_unit_and_its_faults(air, privacy, failed):
    """The key is that of the bond. An address that it does not prove is the unit's where nothing else can be meant."""
    ran = bonded(unit(privacy, data=NAMED, key="", others="security: {}\n"), expect=NAME_STAYS, air=air)
    found, ended = broken(ran)
    assert sorted(found) == failed, ended.message
    assert ran.ended.verdict == ("fail" if failed else "pass")


@AIRS
@pytest.mark.parametrize("privacy", ["another_key: true", "address: non resolvable"])
def test_beside_a_neighbour_of_its_kind_such_a_unit_does_not_pass(air, privacy):
    """Nobody can say which of the two the addresses belong to."""
    neighbour = unit(name="unit 2", address="C4:00:00:00:00:02", key="", data=f"{FRESH}, name: unit 2")
    text = unit(privacy, data=NAMED, key="", others="security: {}\n")
    head = BY_NAME.replace("name: 'unit*'", "name: 'unit*', nearest: 10 dB")
    far = neighbour + "rssi: {mean: -80 dBm}\n"
    plan = head + BONDED + f"  - privacy: 35 s\n    expect: {{{NAME_STAYS}}}\n"
    ran = run(plan, text, far, air=air)
    assert ran.verdicts()[:4] == ["pass"] * 4
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "station"), ran.ended.message
    sound = run(plan, unit(data=NAMED, key="", others="security: {}\n"), far, air=air)
    assert sound.ended.verdict == "pass", sound.ended.message


def test_a_unit_that_is_connected_is_not_listened_to():
    ran = run(BY_KEY + SCAN + "  - connect:\n  - privacy: 5 s\n", unit())
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "plan")
    assert ran.ended.message == "the unit is connected, and was not heard"
