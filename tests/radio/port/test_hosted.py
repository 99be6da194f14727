"""What a port's controller answers. External: Core Vol 4 Part E (sections beside the checks), Vol 6 Part C 1."""

import asyncio

import pytest
from bumble import hci
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchrig.radio.port.hosted import HostedController
from benchrig.radio.virtual.air import Air

ADDRESS = "00:00:5E:00:53:01"
COMPLETE, STATUS = 0x0E, 0x0F
UNKNOWN_COMMAND, INVALID, DISALLOWED = 0x01, 0x12, 0x0C  # Vol 1 Part F 1.3
NO_ANSWER = 0x0C35  # 7.3.40
ADVERTISE_RANDOM = (0x2006, "A000 A000 00 01 00 000000000000 07 00")
ENABLE = (0x200A, "01")
# LE Create Connection (7.8.12) to that public address: 30 ms interval, 720 ms supervision
CONNECT = bytes.fromhex("01 0D20 19 6000 3000 00 00 0153005E0000 00 1800 2800 0000 4800 0000 0000")


class Host:
    """The host's side: what it sends, and what it hears."""

    def __init__(self):
        self.air = Air(1)
        self.heard = []
        self.controller = HostedController(self.air, ADDRESS)
        self.controller.plug_in(self.heard.append)

    def send(self, opcode, parameters=""):
        """The answer to a command, of which there must be one: (status, return parameters behind it)."""
        body = bytes.fromhex(parameters) if isinstance(parameters, str) else parameters
        self.heard.clear()
        self.controller.on_packet(b"\x01" + opcode.to_bytes(2, "little") + bytes((len(body),)) + body)
        return self.answer(opcode)

    def answer(self, opcode):
        code = opcode.to_bytes(2, "little")
        done = [p for p in self.heard if p[1] == COMPLETE and p[4:6] == code]
        status = [p for p in self.heard if p[1] == STATUS and p[5:7] == code]
        assert len(done) + len(status) == (opcode != NO_ANSWER), self.heard
        if done:
            return done[0][6], done[0][7:]
        return (status[0][3], b"") if status else (0, b"")


@pytest.fixture
async def host():
    host = Host()
    yield host
    host.air.close()
    host.air.check()


async def test_every_command_that_has_a_name_is_answered_once(host):
    for opcode in sorted(set(hci.HCI_Command.command_names) | set(hci.HCI_Command.command_classes)):
        host.send(opcode, bytes(64))


@given(st.integers(0, 0xFFFF), st.binary(max_size=255))
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
async def test_any_command_with_any_parameters_is_answered_once(host, opcode, parameters):
    host.send(opcode, parameters)


@pytest.mark.parametrize("opcode", [0xFC00, 0xFD53, 0xFFFF, 0x2036, 0x2043, 0x0401, 0x1009 ^ 0x0800])
async def test_vendor_extended_and_classic_commands_are_unknown(host, opcode):
    assert host.send(opcode, bytes(8))[0] == UNKNOWN_COMMAND


async def test_parameters_that_are_cut_off(host):
    assert host.send(0x2006, "A000")[0] == INVALID


async def test_its_public_address(host):
    assert host.send(0x1009) == (0, bytes.fromhex("01 53 00 5E 00 00"))


async def test_the_commands_it_lists_are_known(host):
    _, mask = host.send(0x1002)
    listed = [code for code, bit in hci.HCI_SUPPORTED_COMMANDS_MASKS.items() if int.from_bytes(mask, "little") & bit]
    assert len(listed) > 40
    for opcode in listed:
        assert host.send(opcode, bytes(64))[0] != UNKNOWN_COMMAND, hex(opcode)


async def test_it_resolves_no_private_addresses_and_has_no_extended_advertising(host):
    _, features = host.send(0x2003)
    bits = int.from_bytes(features, "little")  # Vol 6 Part B 4.6: LL privacy is bit 6, extended advertising bit 12
    assert bits & (1 << 6 | 1 << 12) == 0


async def test_a_random_address_has_to_be_set_before_it_advertises_with_one(host):
    assert host.send(*ADVERTISE_RANDOM)[0] == 0
    assert host.send(*ENABLE)[0] == INVALID  # 7.8.9
    assert host.send(0x2005, "0100000000C7")[0] == 0
    assert host.send(*ENABLE)[0] == 0


async def test_the_random_address_may_be_set_after_the_parameters(host):
    host.send(*ADVERTISE_RANDOM)
    host.send(0x2005, "0100000000C7")
    host.send(*ENABLE)
    assert host.controller.addresses == {"C7:00:00:00:00:01"}
    assert host.send(0x2005, "0200000000C7")[0] == DISALLOWED  # 7.8.4


async def test_a_host_that_sets_no_parameters_advertises_with_its_public_address(host):
    assert host.send(*ENABLE)[0] == 0  # 7.8.5: the default own address is the public one
    assert host.controller.addresses == {ADDRESS}


@pytest.mark.parametrize("interval", ["1F00 A000", "A000 0140", "A000 9000", "0000 0000"])
async def test_an_interval_that_there_is_not(host, interval):
    assert host.send(0x2006, f"{interval} 00 00 00 000000000000 07 00")[0] == INVALID  # 7.8.5


async def test_advertising_data_come_with_their_padding(host):
    host.send(0x2008, bytes((3, 2, 1, 6)) + bytes(28))
    assert host.controller.advertiser.data == b"\x02\x01\x06"


async def test_reset_restores(host):
    for command in ((0x2005, "0100000000C7"), ADVERTISE_RANDOM, (0x2008, bytes((3, 2, 1, 6)) + bytes(28)), ENABLE):
        assert host.send(*command)[0] == 0
    assert host.air.band.is_on(host.controller.advertiser)
    assert host.send(0x0C03)[0] == 0
    assert not host.air.band.is_on(host.controller.advertiser)
    assert host.controller.advertiser.data == b""
    assert host.send(*ADVERTISE_RANDOM)[0] == 0
    assert host.send(*ENABLE)[0] == INVALID  # the random address is gone too


async def test_it_enciphers_as_the_specification_does(host):
    # Vol 6 Part C 1.1: LTK, SKD and the session key; HCI sends the least octet first (7.8.22)
    key = bytes.fromhex("4C68384139F574D836BCF34E9DFB01BF")[::-1]
    text = bytes.fromhex("0213243546576879ACBDCEDFE0F10213")[::-1]
    assert host.send(0x2017, key + text) == (0, bytes.fromhex("99AD1B5226A37E3E058E3B8E27C2C666")[::-1])


async def test_host_number_of_completed_packets_is_not_answered(host):
    host.send(NO_ANSWER, "01 0100 0100")
    assert host.heard == []


@pytest.mark.parametrize(("mask", "subevent"), [("1F", 0x01), ("1F02", 0x0A), ("0002", 0x0A)])
async def test_a_connection_is_told_by_the_event_that_the_host_wants(host, mask, subevent):
    """7.7.65.10: the enhanced event instead of the other where it is on."""
    host.send(0x2001, bytes.fromhex(mask).ljust(8, b"\x00"))
    host.send(*ENABLE)
    central = HostedController(host.air, "00:00:5E:00:53:02")
    central.plug_in(lambda packet: None)
    central.on_packet(CONNECT)
    host.heard.clear()
    async with asyncio.timeout(2):
        while not host.heard:
            await asyncio.sleep(0.01)
    assert [p[3] for p in host.heard if p[1] == 0x3E] == [subevent]


ADDRESS_OF_BENCH, BENCH = "F0:F1:F2:F3:F4:F0", "F0F4F3F2F1F0"  # and as on air


@pytest.mark.parametrize("kind", ["01", "04"])
@pytest.mark.parametrize(("peer", "types"), [(BENCH, {1}), ("0102030405C6", set())])
async def test_directed_advertising_is_heard_by_its_central_alone(host, kind, peer, types):
    """7.8.5, Vol 6 Part B 4.4.2.4; report types 7.7.65.2."""
    bench, heard = HostedController(host.air, "00:00:5E:00:53:02"), []
    bench.plug_in(heard.append)
    bench.random_address = hci.Address(ADDRESS_OF_BENCH)
    host.send(0x2006, f"A000 A000 {kind} 00 01 {peer} 07 00")
    host.send(*ENABLE)
    for command in (b"\x01\x0b\x20\x07\x01\x10\x00\x10\x00\x01\x00", b"\x01\x0c\x20\x02\x01\x00"):
        bench.on_packet(command)
    await asyncio.sleep(0.25)
    assert {p[5] for p in heard if p[1] == 0x3E} == types
    bench.unplug()
