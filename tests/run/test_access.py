"""The step `access` on simulated devices: a sound unit passes, each that allows or refuses otherwise does not."""

import pytest

from benchrig.radio import link as link_module
from benchrig.radio.offers import GENERIC_ACCESS
from benchrig.radio.table import Table
from benchrig.radio.virtual.server import StrictServer
from benchrig.record.events import Noted
from benchrig.report.files.junit import junit_xml
from benchrig.steps.pair import Pair
from tests.run.kit import device_text, plan_text, run

OWN = "6b1d{:04x}-9a53-4c86-8a3e-2f0f6c1d7e40".format
CODE = "042517"
SECURITY = f"security: {{capability: display, passkey: '{CODE}'}}"
NEEDS = ("open", "encrypted", "authenticated", "secure connections")
LEVELS = f"""    levels:
      encrypted: {{pair: none}}
      authenticated: {{pair: keyboard, passkey: '{CODE}'}}
      secure connections: {{pair: keyboard, passkey: '{CODE}'}}
"""


def needs(**keys):
    return "".join(f", {key}_needs: {need}" for key, need in keys.items() if need != "open")


def unit(characteristics, *, security=SECURITY, more=""):
    """A unit with these characteristics, each by its keys as a device file has them."""
    listed = "".join(
        f"      - {{characteristic: {OWN(at)}, as: uint8, {keys}}}\n" for at, keys in characteristics.items()
    )
    return device_text(
        f"services:\n  - service: {OWN(0xF0)}\n    characteristics:\n{listed}", more=f"{security}\n{more}"
    )


def every_need(**changed):
    """One characteristic for each need: read, written and subscribed to with that; `changed` are the keys of one."""
    made = {}
    for at, need in enumerate(NEEDS, 1):
        of_it = {"read": need, "write": need, "subscribe": need, **changed.get(f"at_{at}", {})}
        made[at] = f"value: {at}, properties: [read, write, notify]{needs(**of_it)}"
    return unit(made)


def matrix(needed=NEEDS):
    return "".join(
        f"      {OWN(at)}: {{read: {need}, write: {need}, subscribe: {need}}}\n" for at, need in enumerate(needed, 1)
    )


def plan(rows, more="", *, limits="{differences: {equals: 0}, not_tried: {equals: 0}}", levels=LEVELS):
    return plan_text(
        f"  - access:\n{rows}      others: {{read: open}}\n{levels}{more}    expect: {limits}\n",
        reach="steps:\n  - scan:\n",
    )


ALL_WRITES = f"    writes: [{', '.join(map(OWN, range(1, 5)))}]\n"
SOUND = plan(matrix(), ALL_WRITES)


def access_of(ran):
    return {(row.attribute, row.operation): row for row in ran.reading("access", "found").access}


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_sound_unit_passes_and_all_of_it_was_tried(air):
    ran = run(SOUND, every_need(), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    rows = access_of(ran)
    assert ran.reading("access", "tried").value == sum(len(row.cells) for row in rows.values())
    answers = [[cell.found for cell in rows[OWN(at), "read"].cells] for at in range(1, 5)]
    refused, allowed = "insufficient authentication", "allowed"
    assert answers == [
        [allowed] * 5,
        [refused, allowed, allowed, allowed, refused],
        [refused, refused, allowed, allowed, refused],
        [refused, refused, refused, allowed, refused],
    ]
    assert [cell.link for cell in rows[OWN(1), "read"].cells] == ["no security", *NEEDS[1:], "after pairing"]
    assert CODE not in f"{ran.events}{junit_xml(ran.record).decode()}"


CHANGES = [
    (operation, at, need)
    for operation in ("read", "write", "subscribe")
    for at in range(1, 5)
    for need in NEEDS
    if need != NEEDS[at - 1]
]


@pytest.mark.parametrize(
    ("operation", "at", "need"),
    [pytest.param(*each, marks=[] if number == 19 else pytest.mark.slow) for number, each in enumerate(CHANGES)],
)
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_each_requirement_that_is_weaker_or_stricter_is_found(operation, at, need, air):
    """Of each attribute, each operation and each requirement in turn; no other one is blamed."""
    ran = run(SOUND, every_need(**{f"at_{at}": {operation: need}}), air=air)
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (1, "limit")
    found = ran.reading("access", "found").value
    assert found
    assert {text.partition(", ")[0] for text in found} == {OWN(at)}
    assert any(text.startswith(f"{OWN(at)}, {operation}, ") for text in found)


@pytest.mark.slow
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize("seed", range(20))
def test_the_sound_unit_passes_whatever_the_seed(seed, air):
    assert run(SOUND, every_need(), seed=seed, air=air).ended.exit_code == 0


# --- units that a careless test would pass


def failing(ran, *, cause="limit"):
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (1, cause), ran.ended.message
    return ran.reading("access", "found").value


def test_a_unit_that_refuses_everybody():
    refusing = "value: 1, properties: [read], on_read: {att_error: insufficient authentication}"
    rows = f"      {OWN(1)}: {{read: encrypted}}\n"
    assert failing(run(plan(rows), unit({1: refusing}))) == [
        f"{OWN(1)}, read, {link}: expected allowed, found insufficient authentication" for link in NEEDS[1:]
    ]


def test_a_unit_that_has_paired_once_lets_everybody_in(monkeypatch):
    """Over the same link, and over the next one."""
    refuses, paired = StrictServer.refuses, []

    def generous(self, bearer, *about):
        paired.extend([True] * bool(bearer.is_encrypted))
        return None if paired else refuses(self, bearer, *about)

    monkeypatch.setattr(StrictServer, "refuses", generous)
    found = failing(run(SOUND, every_need()))
    assert f"{OWN(3)}, read, encrypted: expected insufficient authentication, found allowed" in found
    assert f"{OWN(2)}, read, after pairing: expected insufficient authentication, found allowed" in found
    assert not any("no security" in text and "read" in text for text in found)


WAYS = {
    "read blob": ("_read_blob", "read"),
    "read by type": ("_value", "read"),
    "read multiple": ("_read_multiple", "read"),
    "prepare write": ("_prepare", "write"),
}


@pytest.mark.parametrize("way", WAYS)
def test_a_unit_that_guards_one_request_only(way, monkeypatch):
    """What a plain read does not tell, another request does."""
    method, operation = WAYS[way]
    guarded, check, open_now = getattr(StrictServer, method), StrictServer._check, []

    async def unguarded(self, *given):
        open_now.append(way)
        try:
            return await guarded(self, *given)
        finally:
            open_now.pop()

    monkeypatch.setattr(StrictServer, method, unguarded)
    monkeypatch.setattr(StrictServer, "_check", lambda *given: None if open_now else check(*given))
    guarded_unit = unit({1: f"value: 1, properties: [read, write]{needs(read='encrypted', write='encrypted')}"})
    rows = f"      {OWN(1)}: {{read: encrypted, write: encrypted}}\n"
    found = failing(run(plan(rows, f"    writes: [{OWN(1)}]\n"), guarded_unit))
    answer = "attribute not long" if way == "read blob" else "allowed"
    assert (
        found[0] == f"{OWN(1)}, {operation}, no security: expected insufficient authentication, found {answer} ({way})"
    )


def test_a_unit_that_pairs_worse_than_it_was_asked_to_is_no_silent_pass():
    weak = run(SOUND, every_need().replace("capability: display", "pairing: legacy, capability: display"))
    assert (weak.ended.exit_code, weak.step("access").ended.verdict) == (1, "fail")
    assert "no link that is protected by Secure Connections: the pairing failed" in weak.ended.message
    blind = run(SOUND, every_need().replace(SECURITY, "security: {capability: none}"))
    assert (blind.ended.exit_code, blind.step("access").ended.cause) == (1, "device")
    assert blind.ended.message == "expected a link that is authenticated, found one that is encrypted"


def test_a_table_that_the_matrix_does_not_cover():
    both = {1: "value: 1, properties: [read]", 2: "value: 2, properties: [read, notify]"}
    ran = run(plan(f"      {OWN(1)}: {{read: open, subscribe: open}}\n"), unit(both))
    assert failing(ran) == [
        f"{OWN(1)}, subscribe, no security: expected allowed, found not offered",
        f"{OWN(2)}, subscribe, no security: expected a line in the matrix, found offered by the table",
    ]
    missing = run(plan(f"      {OWN(9)}: {{read: open}}\n"), unit(both))
    assert (missing.ended.exit_code, missing.step("access").ended.cause) == (1, "device")
    assert f"no attribute '{OWN(9)}'" in missing.ended.message


# --- bonds

BONDS = f"""    levels:
      encrypted: {{pair: none}}
      authenticated: {{pair: keyboard, passkey: '{CODE}', bonding: true}}
"""
SENDS = "value: 1, properties: [read, notify], notify: {period: 300 ms}, subscribe_needs: encrypted"
SENDER = f"      {OWN(1)}: {{read: open, subscribe: encrypted}}\n"


def test_a_unit_that_has_a_key_says_that_encryption_is_insufficient():
    ran = run(plan(SENDER, levels=BONDS), unit({1: SENDS}))
    assert ran.ended.exit_code == 0, ran.ended.message
    cells = access_of(ran)[OWN(1), "subscribe"].cells
    refused = ["insufficient authentication", "insufficient encryption"]
    assert [cell.found for cell in cells] == [refused[0], "allowed", "allowed", refused[1]]


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("notifies_unencrypted: true", "expected insufficient encryption, found 8 values sent"),
        ("forgets_bonds: disconnection", "expected insufficient encryption, found insufficient authentication"),
    ],
)
def test_what_a_unit_does_with_the_bond_over_a_link_without_security(fault, said):
    faulty = unit({1: SENDS}, security=SECURITY.replace("}", f", faults: {{{fault}}}}}"))
    found = failing(run(plan(SENDER, levels=BONDS), faulty))
    assert found == [f"{OWN(1)}, subscribe, after pairing: {said}"]


def paired_before(*steps):
    """A plan whose access step comes after these."""
    return plan(SENDER).replace("  - access:", "".join(["  - connect:\n", *steps, "  - access:"]))


# a pairing that `check` does not count on
MAYBE = paired_before("  - pair:\n    only_if: {bonds: {equals: 'yes'}}\n").replace(
    "steps:", "given: {bonds: {one_of: ['yes', 'no'], default: 'yes'}}\nsteps:"
)


async def nothing(*_):
    """In place of what a step keeps in mind."""


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_unit_that_kept_its_bond_with_this_bench_is_not_to_blame(monkeypatch, air):
    """In the run the bench alone has forgotten, or an earlier run was broken off."""
    ran = run(paired_before("  - pair:\n", "  - unpair:\n"), unit({1: SENDS}), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    monkeypatch.setattr(Pair, "_keep", nothing)
    monkeypatch.setattr("benchrig.steps.access_links.lasting", lambda bonds: True)
    ran = run(MAYBE, unit({1: SENDS}), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert any("benchrig has forgotten the bond" in note.text for note in ran.events if isinstance(note, Noted))
    weak = unit({1: SENDS.replace(", subscribe_needs: encrypted", "")})
    assert f"{OWN(1)}, subscribe, no security: expected insufficient authentication or" in str(
        failing(run(MAYBE, weak, air=air))
    )


def test_a_bond_of_the_plan_is_not_forgotten_unasked():
    ran = run(MAYBE, unit({1: SENDS}))
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (4, "plan")
    assert ran.step("access").ended.advice == "add - unpair: before the access step"


def test_a_bond_of_a_level_is_there_for_the_steps_behind():
    forget = {1: "value: 1, properties: [write], on_write: {store: false, delete_bonds: true}"}
    behind = f"  - connect:\n  - encrypt:\n  - unpair:\n    steps: [{{write: {OWN(1)}, raw: '01'}}]\n    expect: {{old_key: {{equals: no key}}}}\n"
    ran = run(
        plan(f"      {OWN(1)}: {{write: open}}\n", levels=BONDS, limits="{differences: {equals: 0}}") + behind,
        unit(forget),
    )
    assert ran.ended.exit_code == 0, ran.ended.message


# --- what is tried, and what that leaves behind


def test_a_write_without_response_is_judged_by_what_it_did():
    """Of both values the second one was there for a moment only."""
    keys = "value: 7, properties: [read, write without response]"
    rows = f"      {OWN(1)}: {{read: open, write without response: authenticated}}\n"
    more = f"    writes: [{OWN(1)}]\n    changes: {{{OWN(1)}: '09'}}\n"
    again = f"  - connect:\n  - read: {OWN(1)}\n    format: {{as: uint8}}\n    expect: {{value: {{equals: 7}}}}\n"
    guarded = run(plan(rows, more) + again, unit({1: keys + needs(write="authenticated")}))
    assert guarded.ended.exit_code == 0, guarded.ended.message
    found = [cell.found for cell in access_of(guarded)[OWN(1), "write without response"].cells]
    assert found == ["refused", "refused", "allowed", "allowed", "refused"]
    weak = run(plan(rows, more) + again, unit({1: keys + needs(write="encrypted")}))
    assert failing(weak) == [f"{OWN(1)}, write without response, encrypted: expected refused, found allowed"]
    assert weak.step(f"read {OWN(1)}").ended.verdict == "pass"
    blind = run(plan(rows, f"    writes: [{OWN(1)}]\n"), unit({1: keys + needs(write="encrypted")}))
    assert {cell.why for cell in access_of(blind)[OWN(1), "write without response"].cells} == {
        "it has no answer, and changes has no other value"
    }
    assert blind.reading("access", "not_tried").value == 5


def test_what_was_not_tried_is_counted_and_never_a_pass():
    ran = run(plan(matrix(), limits="{not_tried: {equals: 0}}"), every_need())
    assert ran.ended.exit_code == 1
    assert ran.reading("access", "not_tried").value == 20
    assert {cell.why for cell in access_of(ran)[OWN(1), "write"].cells} == {"not listed under writes"}
    assert "20 operations not tried: not listed under writes (20)" in [
        each.text for each in ran.events if isinstance(each, Noted)
    ]
    levels = "    levels: {encrypted: never, authenticated: never, secure connections: never}\n"
    barred = run(plan(matrix(), ALL_WRITES, limits="{differences: {equals: 0}}", levels=levels), every_need())
    assert barred.ended.exit_code == 0, barred.ended.message
    assert access_of(barred)[OWN(2), "write"].cells[0].why == "its value is not known"
    rows = access_of(barred)
    assert {cell.why for cell in rows[OWN(4), "read"].cells[1:]} == {"the plan has no way to this level"}
    assert barred.reading("access", "not_tried").value == 3 + 3 * len(rows)


def test_descriptors_are_attributes_too():
    described = (
        "value: 1, properties: [read], descriptors: [{descriptor: characteristic user description, value: x, "
        "writable: true, write_needs: authenticated}]"
    )
    rows = "      characteristic user description: {read: open, write: authenticated}\n"
    more = "    writes: [characteristic user description]\n"
    assert run(plan(rows, more), unit({1: described})).ended.exit_code == 0
    found = failing(run(plan(rows, more), unit({1: described.replace("authenticated", "encrypted")})))
    assert found == [
        "characteristic user description, write, encrypted: expected insufficient authentication, found allowed"
    ]


def test_a_stack_that_is_not_strict_passes_where_the_plan_says_so():
    loose = every_need().replace("capability: display", "strict: false, capability: display")
    found = failing(run(SOUND, loose))
    assert f"{OWN(2)}, read, no security: expected insufficient authentication, found insufficient encryption" in found
    lenient = f"    strict: false\n{ALL_WRITES}"
    assert run(plan(matrix(), lenient), loose).ended.exit_code == 0
    weak = every_need(at_3={"read": "encrypted"}).replace("capability: display", "strict: false, capability: display")
    assert failing(run(plan(matrix(), lenient), weak)) == [
        f"{OWN(3)}, read, encrypted: expected any insufficient … error, found allowed"
    ]


def test_several_of_one_uuid_are_one_line_or_one_each():
    twins = unit(
        {
            1: f"value: 1, properties: [read]}}\n      - {{characteristic: {OWN(1)}, name: second, as: uint8, value: 2, properties: [read], read_needs: encrypted"
        }
    )
    levels = "    levels: {encrypted: {pair: none}}\n"
    both = f"      {OWN(1)}: {{read: encrypted}}\n"
    assert failing(run(plan(both, levels=levels), twins))[0].startswith(f"{OWN(1)} (handle 0x0008), read, no security")
    each = f"      {OWN(1)}[0]: {{read: open}}\n      {OWN(1)}[1]: {{read: encrypted}}\n"
    assert run(plan(each, levels=levels), twins).ended.exit_code == 0
    twice = run(plan(f"{both}      {OWN(1)}[1]: {{read: encrypted}}\n", levels=levels), twins)
    assert (twice.ended.exit_code, twice.step("access").ended.cause) == (4, "plan")


@pytest.mark.parametrize(
    ("reacts", "cause", "said"),
    [
        ("on_read: {silent: true}", "device", "the device did not answer within 5 s"),
        ("on_read: {disconnect: true}", "link", "the link was lost"),
    ],
)
def test_a_unit_that_dies_is_told_as_what_it_is(reacts, cause, said):
    ran = run(SOUND, every_need().replace("value: 2,", f"value: 2, {reacts},", 1))
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (1, cause)
    assert said in ran.ended.message
    assert not any(reading.judgement for reading in ran.step("access").readings)
    assert [limit.name for limit in ran.step("access").not_judged] == ["differences", "not_tried"]


def test_a_wrong_passkey_is_no_verdict_on_the_matrix():
    ran = run(SOUND.replace(f"passkey: '{CODE}'", "passkey: '000001'"), every_need())
    assert ran.ended.exit_code == 1
    said = "no link that is authenticated: the pairing failed: confirm value failed (the device refused)"
    assert (ran.ended.message, ran.step("access").ended.cause) == (said, "device")


# --- a radio that does not show all

HIDES = dict.fromkeys(
    (f"access.{name}" for name in ("differences", "tried", "not_tried", "found")), "the system pairs instead"
)


def test_where_the_system_pairs_instead_no_refusal_is_asked_for_and_nothing_passes():
    """A part that differs is enough to fail, and a part that does not is no pass."""
    ran = run(SOUND, every_need(), lacks=HIDES)
    assert ran.ended.exit_code == 5
    assert [limit.reason for limit in ran.step("access").not_judged if limit.name == "differences"] == [
        "the system pairs instead"
    ]
    asked = {cell.why or cell.found for row in access_of(ran).values() for cell in row.cells}
    assert asked == {"allowed", "the system pairs instead"}
    refusing = every_need(at_2={"read": "authenticated"})
    failed = run(plan(matrix(), limits="{differences: {equals: 0}}"), refusing, lacks=HIDES)
    assert (failed.ended.exit_code, failed.step("access").ended.cause) == (1, "limit")
    assert f"{OWN(2)}, read, encrypted: expected allowed, found insufficient authentication" in failed.ended.message


def test_what_the_system_hides_is_not_tried(monkeypatch):
    monkeypatch.setattr("benchrig.radio.link._table", hiding(GENERIC_ACCESS))
    rows = "      device name: {read: open}\n      appearance: {read: any}\n"
    ran = run(plan(rows, limits="{differences: {equals: 0}}"), unit({1: "value: 1, properties: [read]"}))
    assert ran.ended.exit_code == 0, ran.ended.message
    assert access_of(ran)["device name", "read"].cells[0].why == "the operating system does not show this attribute"
    assert ran.reading("access", "not_tried").value == 1


def hiding(uuid):
    """How a link reads a table without this service."""
    whole = link_module._table

    def table(client, value_follows, hidden):
        found = whole(client, value_follows, hidden)
        return Table(tuple(each for each in found.services if each.uuid != uuid), frozenset({uuid}))

    return table


def test_a_size_of_the_key_is_asked_for_over_a_link_with_a_short_one():
    keys = "value: 1, properties: [read, notify], read_needs: encrypted, subscribe_needs: authenticated, key_size_needed: 16"
    rows = f"      {OWN(1)}: {{read: encrypted, subscribe: authenticated, key_size: 16}}\n"
    levels = BONDS.replace(", bonding: true", "") + f"      short key: {{pair: keyboard, passkey: '{CODE}'}}\n"
    sound = run(plan(rows, levels=levels), unit({1: keys}))
    assert sound.ended.exit_code == 0, sound.ended.message
    assert [cell.found for cell in access_of(sound)[OWN(1), "read"].cells] == [
        "insufficient authentication", "allowed", "allowed", "encryption key size too short", "insufficient authentication",
    ]  # fmt: skip
    any_size = run(plan(rows, levels=levels), unit({1: keys.replace(", key_size_needed: 16", "")}))
    assert failing(any_size) == [
        f"{OWN(1)}, {operation}, short key: expected encryption key size too short, found allowed"
        for operation in ("read", "subscribe")
    ]
    refuses = run(plan(rows, levels=levels), unit({1: keys}, security=SECURITY.replace("}", ", least_key_size: 16}")))
    assert (refuses.ended.exit_code, refuses.step("access").ended.cause) == (1, "device")
    assert refuses.ended.message.startswith("no link that is encrypted with a short key: the pairing failed")


def test_nobody_at_a_terminal_is_told_which_key_has_the_passkey():
    told = run(SOUND.replace(f", passkey: '{CODE}'", ""), every_need()).step("access").ended
    assert "(for a link that is authenticated)" in told.message
    assert "write passkey:" in told.advice
    assert "under levels" in told.advice


def test_a_unit_that_waits_after_a_refused_pairing_is_waited_for():
    """Within reason: one that never takes another pairing fails, and so does one that has refused nothing before."""
    refused = "  - connect:\n  - pair: none\n    pairing: legacy\n    expect: {failure: {equals: authentication requirements}}\n"
    steps = SOUND.replace("  - access:", f"{refused}  - access:")
    slow = SECURITY.replace("{", "{mitm: true, accepts: authenticated, wait_after_failure: SECONDS, ")
    sure = steps.replace("encrypted: {pair: none}", "encrypted: never").replace(", not_tried: {equals: 0}", "")
    device = every_need().replace(SECURITY, slow)
    assert run(sure, device.replace("SECONDS", "5 s")).ended.exit_code == 0
    late = run(sure, device.replace("SECONDS", "20 min"))
    assert (late.ended.exit_code, late.step("access").ended.cause) == (1, "device")
    assert "repeated attempts" in late.step("access").ended.message
    always = every_need().replace(SECURITY, SECURITY.replace("{", "{faults: {refuses: repeated attempts}, "))
    told = run(SOUND, always)
    assert (told.ended.exit_code, told.step("access").ended.cause) == (1, "device")
    assert told.step("access").ended.elapsed < 10
