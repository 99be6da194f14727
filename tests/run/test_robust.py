"""robust: weak devices are found and what kills them is shrunk; sound ones bear everything, on every air."""

from __future__ import annotations

import random
from pathlib import Path
from typing import get_args

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from benchrig.radio.bumble_stack.bumble_api import Connection
from benchrig.radio.virtual import Faults
from benchrig.radio.virtual.faults import AirPdu
from benchrig.radio.virtual.server import StrictServer
from benchrig.radio.virtual.weaknesses import Weaknesses
from benchrig.record.events import Noted
from benchrig.requests.drawing import KINDS
from benchrig.steps.robust import Kind
from benchrig.values.channels import ATT
from tests.run.kit import Ran, device_text, plan_text, run

UUID = "6b1d000{}-9a53-4c86-8a3e-2f0f6c1d7e40"
SERVICES = f"""services:
  - service: {UUID.format(1)}
    characteristics:
      - {{characteristic: {UUID.format(2)}, as: uint16, properties: [read, write, write without response], value: 500}}
      - {{characteristic: {UUID.format(3)}, as: utf8, properties: [read, write], value: hello, on_write: {{store: true, check: false}}}}
      - {{characteristic: {UUID.format(4)}, as: uint8, properties: [read, notify], value: 90, notify: {{period: 1 s}}}}
      - {{characteristic: {UUID.format(5)}, as: utf8, properties: [read], value: 'a serial number of many octets'}}
      - {{characteristic: {UUID.format(6)}, as: uint16, properties: [read, write], value: 7}}
      - {{characteristic: {UUID.format(7)}, as: uint16, properties: [indicate], value: 7}}
"""
NAMES = "\n".join(
    f"    {name}: {{uuid: {UUID.format(number)}}}"
    for number, name in ((2, "limit"), (3, "label"), (4, "level"), (5, "serial"), (6, "kept"))
)
CAUTION = "caution: it may break\n"
READ_BLOB = 0x0C
SOUND = "expect: {died: {equals: false}, wrong_answers: {equals: 0}}"


def robust(count: str = "150", more: str = "", *, weak: str = "", expect: str = SOUND, **how: object) -> Ran:
    """A run of one robust step on the device with this weakness, found and connected before."""
    step = f"  - robust: {count}\n    writes: [limit, label]\n{more}    {expect}\n"
    device = device_text(SERVICES, more="mtu: 517\n" + (f"weaknesses: [{weak}]\n" if weak else ""))
    return run(plan_text(step, attributes=NAMES, head=CAUTION), device, **how)  # type: ignore[arg-type]


def values(ran: Ran) -> dict[str, object]:
    return {reading.name: reading.value for reading in ran.step("3").readings}


def notes(ran: Ran) -> str:
    return "\n".join(event.text for event in ran.events if isinstance(event, Noted))


# what is planted -> how often it may take to kill, 0: it gives wrong answers; and what the device dies of in words
WEAKNESSES = {
    # of its own value: it was emptied before, so that its own is longer than what is there
    "{against: long value, does: reboot}": (2, "connection timeout"),
    "{against: value over 512 bytes, does: accept}": (
        0,
        "expected invalid attribute value length or a security error, found a write response (13)",
    ),
    "{against: offset beyond the end, att_error: unlikely error}": (0, "found unlikely error"),
    "{against: gap in prepared writes, does: reboot}": (1, "connection timeout"),
    "{against: execution of nothing, does: disconnect}": (1, "remote user terminated connection"),
    "{against: unknown opcode, does: hang}": (1, "no answer within 5 s"),
    "{against: truncated request, does: reboot}": (1, "connection timeout"),
    "{against: unasked response, does: freeze}": (1, "no answer within 5 s"),
    "{against: second request, does: reboot}": (1, "connection timeout"),
    "{against: small MTU, does: freeze}": (1, "no answer within 5 s"),
    "{against: subscriptions, times: 20, does: reboot}": (3, "connection timeout"),
    "{against: quick connections, times: 5, does: stop advertising}": (1, "it does not come back"),
    "{against: unknown channel, does: reboot}": (1, "connection timeout"),
    "{against: SMP garbage, does: reboot}": (1, "connection timeout"),
    "{against: signalling garbage, does: freeze}": (1, "no answer within 5 s"),
    "{against: unknown opcode, does: garbage}": (0, "found FF 00 FF"),
}


def check_found(weak: str, ran: Ran) -> None:
    most, said = WEAKNESSES[weak]
    found = values(ran)
    assert ran.verdicts() == ["pass", "pass", "fail"], ran.ended.message
    assert not ran.stray
    assert found["died"] is bool(most)
    if most:
        assert said in str(found["death"])
        assert 1 <= len(found["killed_by"]) <= most, found["killed_by"]  # type: ignore[arg-type]
    else:
        assert any(said in sentence for sentence in found["wrong"]), found["wrong"]  # type: ignore[attr-defined]


QUICK = ("long value", "offset beyond", "unknown opcode, does: hang", "subscriptions", "quick connections")
ONE_EACH = [
    weak if any(quick in weak for quick in QUICK) else pytest.param(weak, marks=pytest.mark.slow) for weak in WEAKNESSES
]


@pytest.mark.parametrize("weak", ONE_EACH)
def test_a_weakness_is_found_and_shrunk(weak: str) -> None:
    check_found(weak, robust(weak=weak))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 5))
@pytest.mark.parametrize("air", [None, "rough"])
@pytest.mark.parametrize("weak", WEAKNESSES)
def test_a_weakness_is_found_with_any_seed_on_any_air(weak: str, air: str | None, seed: int) -> None:
    check_found(weak, robust("400", weak=weak, air=air, seed=seed))


def check_sound(ran: Ran) -> None:
    assert ran.ended.verdict == "pass", ran.ended.message
    assert not ran.stray
    assert ran.reading("3", "answered").value > 70
    assert "nothing to send" not in notes(ran)


def test_a_sound_device_bears_everything() -> None:
    check_sound(robust("150"))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 11))
@pytest.mark.parametrize("air", [None, "rough"])
def test_a_sound_device_bears_everything_with_any_seed_on_any_air(air: str | None, seed: int) -> None:
    check_sound(robust("500", air=air, seed=seed))


@pytest.mark.parametrize(("does", "said"), [("accept", "found an execute write response (19)"), ("reboot", "timeout")])
def test_a_value_that_the_mtu_does_not_carry_is_sent_in_parts(does: str, said: str) -> None:
    step = f"  - robust: 150\n    only: [lengths]\n    writes: [limit, label]\n    {SOUND}\n"
    plan = plan_text(step, attributes=NAMES, head=CAUTION)
    ran = run(plan, device_text(SERVICES, more=f"weaknesses: [{{against: value over 512 bytes, does: {does}}}]\n"))
    found = values(ran)
    assert said in f"{found.get('wrong')} {found.get('death')}", found
    assert "writes without response of more than 244 bytes are left out: the MTU is 247" in notes(ran)
    assert run(plan, device_text(SERVICES)).ended.verdict == "pass"


# --- who is to blame


def test_a_link_that_the_air_loses_is_not_the_device() -> None:
    """It ends while a request is on its way, once, and not again for the same ones."""
    faults = Faults()
    count = iter(range(10**9))

    def fate(pdu: AirPdu) -> None:
        if pdu.att_opcode == READ_BLOB and next(count) == 3:
            faults.kill_at = pdu.number + 1

    faults.fate = fate
    ran = robust("80", faults=faults)
    assert ran.ended.verdict == "pass", ran.ended.message
    assert values(ran)["lost_links"] == 1
    assert "the link was lost (connection timeout); the same requests did not do it again" in notes(ran)


LABEL = f"""services:
  - service: {UUID.format(1)}
    characteristics:
      - {{characteristic: {UUID.format(3)}, as: utf8, properties: [read, write], value: Back}}
      - {{characteristic: {UUID.format(2)}, as: uint16, properties: [read, write], value: 5}}
"""


@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize("seed", [1, pytest.param(4, marks=pytest.mark.slow), pytest.param(5, marks=pytest.mark.slow)])
@pytest.mark.parametrize("does", ["hang", "reboot", "disconnect"])
def test_a_device_that_dies_of_its_own_value_when_it_is_put_back(does: str, seed: int, air: str | None) -> None:
    """A value of the same length is a long one as soon as a shorter one was written."""
    device = device_text(LABEL, more=f"weaknesses: [{{against: long value, does: {does}}}]\n")
    step = "  - robust: 100\n    writes: [limit, label]\n    expect: {died: {equals: false}}\n"
    ran = run(plan_text(step, attributes=NAMES, head=CAUTION), device, seed=seed, air=air)
    assert values(ran)["died"] is True, notes(ran)
    assert 1 <= len(values(ran)["killed_by"]) <= 2  # type: ignore[arg-type]
    assert ran.ended.cause == "limit"


def dying_now_and_then(monkeypatch: pytest.MonkeyPatch, times: int) -> None:
    """It ends the link at the first reads beyond the end of a value, and bears them from then on."""
    meet, met = Weaknesses.meet, list[bytes]()

    def unsteady(self: Weaknesses, connection: Connection, channel: int, octets: bytes) -> bytes | None:
        if channel == ATT and octets[:1] == b"\x0c" and octets[3:] == b"\xff\xff" and octets not in met:
            met.append(octets)
            if len(met) <= times:
                self._device.spawn(self._device.disconnect(connection))
                return b""
        return meet(self, connection, channel, octets)

    monkeypatch.setattr(Weaknesses, "meet", unsteady)


@pytest.mark.parametrize(
    ("times", "expect", "cause"),
    [
        (1, SOUND, None),
        (2, SOUND, "device"),
        (2, "expect: {died: {equals: false}, lost_links: {max: 2}}", None),
        (2, "expect: {died: {equals: false}, lost_links: {equals: 0}}", "limit"),
    ],
)
def test_links_that_only_bad_requests_lose_are_no_pass(
    times: int, expect: str, cause: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    dying_now_and_then(monkeypatch, times)
    ran = robust("40", "    only: [offsets]\n", expect=expect)
    assert values(ran)["lost_links"] == times
    assert ran.ended.cause == cause, ran.ended.message
    if cause == "device":
        assert "2 links were lost after bad requests, and none with as many harmless ones" in ran.ended.message


@pytest.mark.slow
def test_an_air_that_ends_every_link_is_not_the_device() -> None:
    """Whatever is sent is lost after a while, so nothing can be tested."""
    faults = Faults()

    def fate(pdu: AirPdu) -> None:
        if pdu.number > 300 and pdu.number % 70 == 0:
            faults.kill_at = pdu.number + 1

    faults.fate = fate
    ran = robust(faults=faults)
    assert (ran.verdicts()[-1], ran.ended.cause) == ("fail", "link"), ran.ended.message
    assert "the same requests did not do it again" in ran.ended.message


def test_without_a_limit_a_death_and_a_wrong_answer_fail_the_step() -> None:
    ran = robust(weak="{against: small MTU, does: hang}", expect="expect: {slowest: {max: 1 min}}")
    assert ran.ended.cause == "device"
    assert "the device died: no answer within 5 s; killed by: mtu" in ran.ended.message
    ran = robust(weak="{against: small MTU, does: garbage}", expect="expect: {slowest: {max: 1 min}}")
    assert ran.ended.cause == "device"
    assert "the first: mtu 22: expected" in ran.ended.message or "the first: mtu 0: expected" in ran.ended.message


def test_a_limit_may_expect_a_death() -> None:
    ran = robust(weak="{against: small MTU, does: hang}", expect="expect: {died: {equals: true}}")
    assert ran.ended.verdict == "pass", ran.ended.message


def test_a_value_that_is_not_kept_is_a_wrong_answer() -> None:
    """The firmware keeps something of what it refuses."""
    broken = SERVICES.replace("value: 7}\n", "value: 7}\n", 1).replace(
        "properties: [indicate], value: 7}",
        "properties: [indicate], value: 7}",
    )
    device = device_text(
        broken.replace("value: 500}", "value: 500, on_write: {set: {kept: 9}}}").replace(
            f"characteristic: {UUID.format(6)},", f"characteristic: {UUID.format(6)}, name: kept,"
        ),
        more="mtu: 517\n",
    )
    step = f"  - robust: 300\n    writes: [limit]\n    {SOUND}\n"
    ran = run(plan_text(step, attributes=NAMES, head=CAUTION), device)
    assert ran.verdicts()[-1] == "fail"
    assert ran.reading("3", "wrong").value == ["kept has changed from 07 00 to 09 00"]


def test_what_the_plan_lets_change_is_put_back() -> None:
    ran = run(
        plan_text(
            f"  - robust: 300\n    writes: [limit, label]\n    only: [lengths, prepared]\n    {SOUND}\n"
            "  - read: limit\n    format: {as: uint16}\n    expect: {value: {equals: 500}}\n"
            "  - read: label\n    format: {as: utf8}\n    expect: {value: {equals: hello}}\n",
            attributes=NAMES,
            head=CAUTION,
        ),
        device_text(SERVICES, more="mtu: 517\n"),
    )
    assert ran.ended.verdict == "pass", ran.ended.message


SECURE = SERVICES.replace("value: 500}", "value: 500, read_needs: encrypted, write_needs: encrypted}")


def paired(more: str = "", faults: str = "", weak: str = "", **how: object) -> Ran:
    step = f"  - pair:\n{more}  - robust: 120\n    writes: [limit, label]\n    {SOUND}\n"
    device = device_text(SECURE, more=f"mtu: 517\nsecurity: {{{faults}}}\n{weak}")
    return run(plan_text(step, attributes=NAMES, head=CAUTION), device, **how)  # type: ignore[arg-type]


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_link_that_is_encrypted_stays_so(air: str) -> None:
    assert paired(air=air).ended.verdict == "pass", paired(air=air).ended.message
    ran = paired(faults="faults: {forgets_bonds: disconnection}", air=air)
    assert ran.verdicts()[-1] == "fail"
    assert "the link could be encrypted before, and no longer: no key" in ran.reading("4", "wrong").value


def test_what_was_read_over_an_encrypted_link_is_no_measure_without_a_bond() -> None:
    ran = paired("    bonding: false\n")
    assert ran.ended.verdict == "pass", ran.ended.message


def test_the_kinds_that_are_drawn_are_those_that_a_plan_can_name() -> None:
    assert get_args(Kind) == (*KINDS,)


# --- what it sends


def test_only_and_without() -> None:
    expect = (
        "expect: {tried.mtu: {min: 20}, tried.offsets: {min: 10}, tried.lengths: {equals: 0}, died: {equals: false}}"
    )
    assert robust("50", "    only: [mtu, offsets]\n", expect=expect).ended.verdict == "pass"
    expect = "expect: {tried.mtu: {equals: 0}, tried.lengths: {min: 5}, died: {equals: false}}"
    assert robust("100", "    without: [mtu]\n", expect=expect).ended.verdict == "pass"


def test_a_kind_that_finds_nothing_is_named_and_alone_is_a_mistake() -> None:
    step = f"  - robust: 100\n    {SOUND}\n"
    device = device_text(SERVICES.replace("notify, ", "").replace("indicate", "read").replace(", notify]", "]").replace(", notify: {period: 1 s}", ""))  # fmt: skip
    ran = run(plan_text(step, attributes=NAMES, head=CAUTION), device)
    assert "nothing to send of these kinds: subscriptions" in notes(ran)
    ran = run(plan_text(step.replace("100", "100\n    only: [subscriptions]"), attributes=NAMES, head=CAUTION), device)
    assert (ran.verdicts()[-1], ran.ended.cause) == ("error", "plan")


def test_a_list_of_requests() -> None:
    listed = "requests: ['read 0xFFFF', 'mtu 23', 'reconnect 2', 'write 0x0008 F4 01 00', 'att 2A']"
    ran = robust(
        "", f"    {listed}\n", expect="expect: {requests: {equals: 5}, answered: {equals: 4}, died: {equals: false}}"
    )
    assert ran.ended.verdict == "pass", ran.ended.message
    ran = robust("", "    requests: ['write 0x0011 00 00']\n", expect=SOUND)
    assert (ran.verdicts()[-1], ran.ended.cause) == ("error", "plan")
    assert "'write 0x0011 00 00' is not sent: it writes" in ran.ended.message


def test_a_time_that_is_over_tells_what_was_found() -> None:
    ran = robust("1000000", "    within: 30 s\n")
    assert (ran.verdicts()[-1], ran.ended.cause) == ("fail", "limit")
    assert "of 1000000 requests in 30 s" in ran.ended.message
    assert values(ran)["died"] is False


# --- what it leaves


def test_what_kills_is_saved_as_a_plan_that_kills(tmp_path: Path) -> None:
    weak = "{against: unknown opcode, does: hang}"

    def keep(runner: object, event: object) -> None:
        if isinstance(event, Noted) and "what kills the unit is saved as killer.yaml" in event.text:
            text = (runner.settings.folder / "killer.yaml").read_text("utf-8")  # type: ignore[attr-defined]
            (tmp_path / "killer.yaml").write_text(text, "utf-8")

    first = robust(weak=weak, during=keep)
    saved = tmp_path / "killer.yaml"
    plan = load_plan(saved, {})
    assert plan.caution == "it may break"
    assert "# no answer within 5 s (tried on its own, it kills the unit)" in saved.read_text("utf-8")
    again = run(saved, device_text(SERVICES, more=f"mtu: 517\nweaknesses: [{weak}]\n"))
    assert again.verdicts() == ["pass", "pass", "fail"]
    assert values(again)["killed_by"] == values(first)["killed_by"]
    sound = run(saved, device_text(SERVICES, more="mtu: 517\n"))
    assert sound.ended.verdict == "pass", sound.ended.message


def test_what_kills_over_an_encrypted_link_is_saved_with_a_pair_step(tmp_path: Path) -> None:
    weak = "weaknesses: [{against: unknown opcode, does: hang}]\n"

    def keep(runner: object, event: object) -> None:
        if isinstance(event, Noted) and "is saved as killer.yaml; it pairs first" in event.text:
            text = (runner.settings.folder / "killer.yaml").read_text("utf-8")  # type: ignore[attr-defined]
            (tmp_path / "killer.yaml").write_text(text, "utf-8")

    ran = paired(weak=weak, during=keep)
    assert "SMP packets were sent: a unit that makes who fails wait may refuse the next pairing" in notes(ran)
    saved = tmp_path / "killer.yaml"
    assert "# the requests went over an encrypted link" in saved.read_text("utf-8")
    again = run(saved, device_text(SECURE, more=f"mtu: 517\nsecurity: {{}}\n{weak}"))
    assert again.verdicts() == ["pass", "pass", "pass", "fail"]
    assert again.reading("4", "died").value is True


def test_the_same_seed_sends_the_same() -> None:
    weak = "{against: subscriptions, times: 20, does: reboot}"
    one, other = (robust("200", "    seed: 9\n", weak=weak, seed=seed) for seed in (1, 2))
    assert values(one)["killed_by"] == values(other)["killed_by"]


# --- check


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("robust: 0", "expected 1 to 1000000 requests, found 0"),
        ("robust:", "a robust step needs either a number of requests or a list of them"),
        ("robust: 5\n    requests: [execute]", "a robust step needs either a number of requests or a list of them"),
        ("robust:\n    requests: [reed 0x0001]", "unknown request 'reed'"),
        ("robust:\n    requests: [execute]\n    seed: 3", "seed is for requests that are drawn"),
        ("robust: 5\n    only: [length]", "did you mean 'lengths'?"),
        ("robust: 5\n    only: [mtu]\n    without: [mtu]", "'mtu' is in only and in without"),
        ("robust: 5\n    writes: [nothing]", "unknown attribute 'nothing'"),
        ("robust: 5\n    writes: [limit]\n    protect: [limit]", "'limit' is in writes and in protect"),
        ("robust: 5\n    answers_within: 0 s", "answers_within must be more than 0 s"),
        ("robust: 5\n    attempts: 2", "a robust step is never tried again"),
    ],
)
def test_what_is_wrong_with_a_step(step: str, message: str, tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text(f"  - {step}\n", attributes=NAMES, head=CAUTION), "utf-8")
    with pytest.raises(PlanError) as caught:
        load_plan(plan)
    assert message in str(caught.value)


def test_it_needs_a_caution(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text("  - robust: 5\n"), "utf-8")
    with pytest.raises(PlanError, match="a robust step may harm the unit, and the plan has no caution"):
        load_plan(plan)


# --- what comes back may be anything


def garbled(rng: random.Random, data: bytes) -> bytes:
    """A frame with other octets, of another length, or on another channel."""
    channel = rng.choice((data[2:4], data[2:4], b"\x05\x00", b"\x06\x00", b"\x40\x00"))
    octets = bytearray(data[4:])
    for _ in range(rng.randint(0, 3)):
        octets[rng.randrange(len(octets)) : rng.randrange(len(octets) + 1)] = rng.randbytes(rng.randint(0, 6))
        octets = octets or bytearray(b"\x00")
    return len(octets).to_bytes(2, "little") + channel + bytes(octets)


def check_garbage(seed: int, share: float, least: int) -> None:
    """From the PDU with this number on a share of all that the device sends is garbage."""
    faults, rng = Faults(), random.Random(seed)

    def fate(pdu: AirPdu) -> bytes | None:
        is_garbage = pdu.to_central and pdu.number > least and rng.random() < share
        return garbled(rng, pdu.data) if is_garbage else None

    faults.fate = fate
    ran = robust("100", "    within: 5 min\n", faults=faults, seed=seed, expect="expect: {slowest: {max: 1 h}}")
    # of a few PDUs none may be an answer to a bad request
    assert ran.ended.cause in ("device", "link", "limit", *([None] if share < 0.1 else [])), ran.ended.message
    assert not ran.stray
    assert ran.tasks_left == 0


def test_garbage_for_answers_fails_the_device_and_not_the_bench() -> None:
    check_garbage(1, 0.3, 150)


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.02, 0.2, 1.0])
@pytest.mark.parametrize("seed", range(10))
def test_garbage_of_any_kind_fails_the_device_and_not_the_bench(seed: int, share: float) -> None:
    check_garbage(seed, share, 120 + 20 * seed)


CLOCK = f"      - {{characteristic: {UUID.format(8)}, as: uint32, properties: [read, write], value: {{ramp: {{from: 0, to: 1000, over: 1000 s}}}}}}\n"
IDENTITY = "  - service: device information\n    characteristics:\n      - {characteristic: serial number string, properties: [read], value: serial1234}\n"
PLAN = plan_text(f"  - robust: 150\n    writes: [limit, label]\n    {SOUND}\n", attributes=NAMES, head=CAUTION)


@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
def test_a_clock_that_goes_on_is_not_held_against_the_device(air: str | None) -> None:
    ran = run(PLAN, device_text(SERVICES + CLOCK, more="mtu: 517\n"), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message


def test_a_serial_number_that_a_long_write_overwrites_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes no write, and so nothing else would look at it again."""
    write, read, spoilt = StrictServer._write, StrictServer._read, list[bool]()

    async def spoiling(self: StrictServer, bearer: object, request: object) -> object:
        spoilt.extend([True] * (len(request.attribute_value) > 10))  # type: ignore[attr-defined]
        return await write(self, bearer, request)  # type: ignore[arg-type]

    async def spoiled(self: StrictServer, bearer: object, request: object) -> object:
        found = await read(self, bearer, request)  # type: ignore[arg-type]
        if spoilt and b"serial1" in found.attribute_value:  # type: ignore[attr-defined]
            return type(found)(attribute_value=b"XX")  # type: ignore[call-arg]
        return found

    monkeypatch.setattr(StrictServer, "_write", spoiling)
    monkeypatch.setattr(StrictServer, "_read", spoiled)
    ran = run(PLAN, device_text(SERVICES + IDENTITY, more="mtu: 517\n"))
    assert any("serial number string has changed" in sentence for sentence in values(ran)["wrong"])  # type: ignore[attr-defined]


@pytest.mark.slow
def test_a_slow_leak_is_found() -> None:
    """Of which the requests since the last link, and one subscription a hundred times, are not enough."""
    found = values(robust("1000", weak="{against: subscriptions, times: 300, does: reboot}"))
    assert found["died"] is True
    assert len(found["killed_by"]) == 1  # type: ignore[arg-type]
