"""Units that refuse as they must, and tell or change a value all the same: each is found by the step `access`."""

import pytest

from benchrig.radio.bumble_stack.bumble_api import att
from benchrig.radio.virtual import discovery
from benchrig.radio.virtual import server as server_module
from benchrig.radio.virtual.server import StrictServer
from tests.run.kit import device_text, plan_text, run
from tests.run.test_access import ALL_WRITES, OWN, SECURITY, every_need, failing, matrix, needs, plan, unit

VALUE = {1: f"value: 1, properties: [read, write]{needs(read='encrypted', write='authenticated')}"}
ROWS = f"      {OWN(1)}: {{read: encrypted, write: authenticated}}\n"
CHANGES = f"    writes: [{OWN(1)}]\n    changes: {{{OWN(1)}: '63'}}\n"
WRITES = plan(ROWS, CHANGES)
BEHIND = f"  - connect:\n  - pair: none\n  - read: {OWN(1)}\n    format: {{as: uint8}}\n    expect: {{value: {{equals: 1}}}}\n"
BATTERY = "services:\n  - service: battery service\n    characteristics:\n      - {characteristic: battery level, value: 50 %, properties: [read], read_needs: encrypted}\n"
READS = plan("      battery level: {read: encrypted}\n")
SENDS = {1: f"value: 1, properties: [read, notify, indicate]{needs(subscribe='encrypted')}"}
SUBSCRIBES = plan(f"      {OWN(1)}: {{read: open, subscribe: encrypted}}\n")
sound = {name: getattr(StrictServer, name) for name in ("_write", "_write_command", "_prepare", "_read", "_check")}


def is_value(attribute):
    return bool(getattr(attribute, "properties", 0) & 0x08)


async def write_first(self, bearer, request):
    if is_value(attribute := self.get_attribute(request.attribute_handle)):
        await attribute.write_value(bearer, bytes(request.attribute_value))
    return await sound["_write"](self, bearer, request)


async def write_first_unencrypted(self, bearer, request):
    return await (sound["_write"] if bearer.is_encrypted else write_first)(self, bearer, request)


async def write_nothing(self, bearer, request):
    if not is_value(self._writable(bearer, request.attribute_handle)):
        return await sound["_write"](self, bearer, request)
    return att.ATT_Write_Response()


async def obey_command(self, bearer, request):
    await self.get_attribute(request.attribute_handle).write_value(bearer, bytes(request.attribute_value))


async def queue_all_the_same(self, bearer, request):
    part = (request.attribute_handle, request.value_offset, request.part_attribute_value)
    self.prepared_writes.setdefault(bearer, []).append(part)
    return await sound["_prepare"](self, bearer, request)


async def execute_unchecked(self, bearer, request):
    for handle, _, part in self.prepared_writes.pop(bearer, []) if request.flags else []:
        await self.get_attribute(handle).write_value(bearer, bytes(part))
    return att.ATT_Execute_Write_Response()


CHANGED = {
    "writes before it looks": ({"_write": write_first}, "encrypted: expected insufficient authentication, found refused, and stored all the same"),
    "writes before it looks where nothing can be read": ({"_write": write_first_unencrypted}, "after pairing: expected insufficient authentication, found refused, and stored all the same"),
    "stores nothing": ({"_write": write_nothing}, "authenticated: expected allowed, found allowed, and not stored"),
    "obeys a command": ({"_write_command": obey_command}, "encrypted: expected insufficient authentication, found allowed (write command)"),
    "executes what it refused": ({"_prepare": queue_all_the_same, "_execute": execute_unchecked}, "encrypted: expected insufficient authentication, found allowed (execute write)"),
}  # fmt: skip


@pytest.mark.parametrize("lie", CHANGED)
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_value_that_changes_against_what_the_unit_answers(lie, air, monkeypatch):
    """The other value is put back where a link lets."""
    methods, said = CHANGED[lie]
    for name, method in methods.items():
        monkeypatch.setattr(StrictServer, name, method)
    ran = run(WRITES + BEHIND, unit(VALUE), air=air)
    assert failing(ran)[0] == f"{OWN(1)}, write, {said}"
    assert ran.step(f"read {OWN(1)}").ended.verdict == "pass"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_sound_unit_passes_with_another_value_and_keeps_its_own(air):
    ran = run(WRITES + BEHIND, unit(VALUE), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert ran.step(f"read {OWN(1)}").ended.verdict == "pass"


def test_another_value_that_is_there_already_shows_nothing():
    ran = run(plan(ROWS, CHANGES.replace("63", "01")), unit(VALUE))
    assert ran.ended.exit_code == 1
    assert ran.reading("access", "not_tried").value == 5


async def first_part(self, bearer, request):
    value = await self._existing(request.attribute_handle).read_value(bearer)
    return att.ATT_Read_Response(attribute_value=value[: bearer.att_mtu - 1])


async def variable(self, bearer, request):
    values = [await self._existing(handle).read_value(bearer) for handle in request.set_of_handles]
    return att.ATT_Read_Multiple_Variable_Response(length_value_tuple_list=[(len(each), each) for each in values])


async def find_anything(attributes, bearer, request, _):
    return await discovery.find_by_type_value(attributes, bearer, request, lambda b, one: one.read_value(b))


@pytest.mark.parametrize(
    ("where", "name", "lie", "said"),
    [
        (StrictServer, "_read_multiple_variable", variable, "no security: expected insufficient authentication, found allowed (read multiple variable)"),
        (server_module, "find_by_type_value", find_anything, "after pairing: expected insufficient authentication, found allowed (find by type value)"),
    ],
)  # fmt: skip
def test_a_value_that_another_request_tells(where, name, lie, said, monkeypatch):
    device = device_text(BATTERY, more=SECURITY)
    assert run(READS, device).ended.exit_code == 0
    monkeypatch.setattr(where, name, lie)
    assert failing(run(READS, device))[0] == f"battery level, read, {said}"


def test_a_long_value_whose_first_part_is_told(monkeypatch):
    """The read that a bench does goes on to the next part, which is refused: that is no refusal of the first one."""
    long_value = unit({1: f"value: 1, properties: [read]{needs(read='encrypted')}"})
    long_value = long_value.replace("as: uint8, value: 1", f"as: utf8, value: {'x' * 300}").replace(
        "security:", "mtu: 23\nsecurity:"
    )
    rows = plan(f"      {OWN(1)}: {{read: encrypted}}\n")
    assert run(rows, long_value).ended.exit_code == 0
    monkeypatch.setattr(StrictServer, "_read", first_part)
    assert failing(run(rows, long_value))[0].endswith("no security: expected insufficient authentication, found allowed (read request)")  # fmt: skip


async def indications_alone(self, bearer, request):
    self.open_now = bytes(request.attribute_value) == b"\x02\x00"
    try:
        return await sound["_write"](self, bearer, request)
    finally:
        self.open_now = False


async def prepare_anything(self, bearer, request):
    self.on_att_prepare_write_request(bearer, request)


@pytest.mark.parametrize(
    ("methods", "said"),
    [
        ({"_write": indications_alone}, "allowed, and its end refused (indications)"),
        ({"_write_command": obey_command}, "allowed (write command)"),
        ({"_prepare": prepare_anything}, "allowed (prepare write)"),
    ],
)
def test_a_configuration_that_is_guarded_against_one_request_alone(methods, said, monkeypatch):
    assert run(SUBSCRIBES, unit(SENDS)).ended.exit_code == 0
    for name, method in methods.items():
        monkeypatch.setattr(StrictServer, name, method)
    monkeypatch.setattr(
        StrictServer, "_check", lambda self, *about: None if getattr(self, "open_now", False) else sound["_check"](self, *about)
    )  # fmt: skip
    assert failing(run(SUBSCRIBES, unit(SENDS)))[0] == f"{OWN(1)}, subscribe, no security: expected insufficient authentication, found {said}"  # fmt: skip


async def find_more_when_encrypted(attributes, bearer, request):
    shown = attributes if bearer.is_encrypted else attributes[:-2]
    return await discovery.find_information(shown, bearer, request)


def test_a_table_that_grows_with_the_pairing(monkeypatch):
    """What is hidden from a link without security is in no matrix, so nothing else would try it."""
    monkeypatch.setattr(server_module, "find_information", find_more_when_encrypted)
    found = failing(run(plan(ROWS), unit(VALUE | {2: "value: 2, properties: [read]"})))
    told = "authenticated: expected the same table on every link, found an attribute that other links do not have"
    assert f"{OWN(2)} (handle 0x000A), discovery, {told}" in found


# --- plans that would prove less than they seem to


def test_differences_that_no_limit_is_about_fail_the_step():
    steps = f"  - access:\n{ROWS}      others: {{read: open}}\n    levels: {{encrypted: {{pair: none}}, authenticated: never}}\n"
    ran = run(
        plan_text(steps + "  - wait: 1 ms\n", reach="steps:\n  - scan:\n"), unit({1: VALUE[1].partition(", read_")[0]})
    )
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (1, "limit")
    assert f"{OWN(1)}, read, no security: expected insufficient authentication, found allowed" in ran.ended.message
    assert ran.reading("access", "found").access


def test_nothing_that_was_tried_proves_nothing():
    rows = f"      {OWN(1)}: {{read: any, write: open}}\n      others: {{read: any}}\n"
    steps = f"  - access:\n{rows}    expect: {{differences: {{equals: 0}}}}\n"
    ran = run(plan_text(steps, reach="steps:\n  - scan:\n"), unit({1: "value: 1, properties: [read, write]"}))
    assert ran.ended.exit_code == 5
    assert ran.reading("access", "tried").value == 0


def test_a_key_that_is_shorter_than_the_matrix_asks_for_ends_the_step():
    """Where the plan says that the unit refuses a short key, and the unit has no other."""
    rows = f"      {OWN(1)}: {{read: encrypted, key_size: 16}}\n"
    levels = "    levels: {encrypted: {pair: none}, short key: never}\n"
    keys = {1: f"value: 1, properties: [read]{needs(read='encrypted')}"}
    short = run(plan(rows, levels=levels), unit(keys, security=SECURITY.replace("}", ", key_size: 7}")))
    assert (short.ended.exit_code, short.step("access").ended.cause) == (1, "device")
    assert short.ended.message == "expected a key of 16 bytes or more, found one of 7"
    refuses = unit(keys, security=SECURITY.replace("}", ", least_key_size: 16}"))
    untried = run(plan(rows, levels=levels, limits="{differences: {equals: 0}}"), refuses)
    assert untried.ended.exit_code == 0, untried.ended.message
    assert untried.reading("access", "not_tried").value == 1


def test_a_step_that_had_too_little_time_does_not_blame_the_unit():
    ran = run(plan(matrix(), f"{ALL_WRITES}    within: 3 s\n"), every_need())
    step = ran.step("access").ended
    assert (ran.ended.exit_code, step.cause) == (1, "limit")
    assert step.message.startswith("3 s were over after ")
    assert step.advice == "write within: 6 s or more"


def test_of_many_differences_a_sentence_has_the_first_alone():
    open_now = unit({at: f"value: {at}, properties: [read, write, notify]" for at in range(1, 5)})
    ran = run(plan(matrix(), ALL_WRITES), open_now)
    assert failing(ran)
    assert ran.ended.message.endswith(f"; and {ran.reading('access', 'differences').value - 10} more")


def test_a_control_point_that_nobody_reads_is_written_with_the_value_that_the_plan_has():
    point = unit({1: f"value: 1, properties: [write]{needs(write='authenticated')}"})
    rows = plan(f"      {OWN(1)}: {{write: authenticated}}\n", CHANGES)
    sound_one = run(rows, point)
    assert sound_one.ended.exit_code == 0, sound_one.ended.message
    assert failing(run(rows, point.replace("write_needs: authenticated", "write_needs: encrypted"))) == [
        f"{OWN(1)}, write, encrypted: expected insufficient authentication, found allowed"
    ]
