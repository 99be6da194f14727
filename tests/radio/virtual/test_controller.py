"""The controller command by command: advertising to one, the accept list, keys that are refreshed. Sections: Core Vol 4 Part E
unless another volume is named."""

import asyncio
import itertools

import pytest
from bumble import hci, ll

from benchrig.radio.virtual.air import Air
from benchrig.radio.virtual.conditions import PROFILES, STILL
from benchrig.radio.virtual.controller import VirtualController
from tests.radio.virtual.rough import run

CENTRAL, STRANGER, UNIT = (hci.Address(f"F0:00:00:00:00:0{number}") for number in (1, 2, 3))
OK, DISALLOWED, FULL, INVALID = 0x00, 0x0C, 0x07, 0x12
ADV_IND, HIGH, LOW = 0, 1, 4
AIRS = [None, STILL, PROFILES["rough"]]


class Controller(VirtualController):
    """One that keeps what its host is told, in the order of time: (time, packet)."""

    def __init__(self, name, air, address):
        super().__init__(name, air)
        self.told = []
        self.host = self.Host(self.told)
        self.random_address = address

    class Host:
        def __init__(self, told):
            self.told = told

        def on_packet(self, packet):
            self.told.append((asyncio.get_running_loop().time(), packet))

    def do(self, command):
        """The status of the answer."""
        result = getattr(self, f"on_{command.name.lower()}")(command)
        return OK if result is None else result.status

    def events(self, kind):
        parsed = (
            (at, hci.HCI_Packet.from_bytes(packet)) for at, packet in self.told if packet[1] != 0x3E or packet[3] != 2
        )
        return [(at, event) for at, event in parsed if isinstance(event, kind)]

    @property
    def reports(self):
        """Of advertising: (time, event type, address, data)."""
        said = [(at, packet) for at, packet in self.told if packet[1:2] == b"\x3e" and packet[3] == 2]
        return [(at, p[5], hci.Address(p[7:13], hci.AddressType(p[6])), p[14:-1]) for at, p in said]

    @property
    def completed(self):
        return [(at, event.status) for at, event in self.events(hci.HCI_LE_Connection_Complete_Event)]

    def advertise(self, kind=ADV_IND, target=CENTRAL, policy=0, interval=160):
        self.do(hci.HCI_LE_Set_Advertising_Data_Command(advertising_data=b"\x02\x01\x06"))
        self.do(hci.HCI_LE_Set_Scan_Response_Data_Command(scan_response_data=b"\x02\x0a\x04"))
        code = self.do(
            hci.HCI_LE_Set_Advertising_Parameters_Command(
                advertising_interval_min=interval, advertising_interval_max=interval, advertising_type=kind,
                own_address_type=1, peer_address_type=target.address_type, peer_address=target,
                advertising_channel_map=7, advertising_filter_policy=policy,
            )
        )  # fmt: skip
        return code or self.do(hci.HCI_LE_Set_Advertising_Enable_Command(advertising_enable=1))

    def silence(self):
        return self.do(hci.HCI_LE_Set_Advertising_Enable_Command(advertising_enable=0))

    def scan(self, policy=0, *, active=True, window=16):
        code = self.do(
            hci.HCI_LE_Set_Scan_Parameters_Command(
                le_scan_type=int(active), le_scan_interval=window, le_scan_window=window, own_address_type=1,
                scanning_filter_policy=policy,
            )
        )  # fmt: skip
        return code or self.do(hci.HCI_LE_Set_Scan_Enable_Command(le_scan_enable=1, filter_duplicates=0))

    def stop_scan(self):
        return self.do(hci.HCI_LE_Set_Scan_Enable_Command(le_scan_enable=0, filter_duplicates=0))

    def connect(self, peer=UNIT, policy=0):
        return self.do(
            hci.HCI_LE_Create_Connection_Command(
                le_scan_interval=16, le_scan_window=16, initiator_filter_policy=policy, peer_address_type=1,
                peer_address=peer, own_address_type=1, connection_interval_min=24, connection_interval_max=24,
                max_latency=0, supervision_timeout=400, min_ce_length=0, max_ce_length=0,
            )
        )  # fmt: skip

    def give_up(self):
        return self.do(hci.HCI_LE_Create_Connection_Cancel_Command())

    def add(self, *addresses):
        return [self.do(hci.HCI_LE_Add_Device_To_Filter_Accept_List_Command(address_type=one.address_type, address=one)) for one in addresses]  # fmt: skip

    def remove(self, one):
        return self.do(
            hci.HCI_LE_Remove_Device_From_Filter_Accept_List_Command(address_type=one.address_type, address=one)
        )

    def forget_all(self):
        return self.do(hci.HCI_LE_Clear_Filter_Accept_List_Command())


def on_air(conditions=None):
    """An air with three controllers: unit, central, stranger."""

    def decorated(work):
        async def main():
            air = Air(1, conditions=conditions)
            await work(
                *(
                    Controller(name, air, one)
                    for name, one in (("unit", UNIT), ("central", CENTRAL), ("stranger", STRANGER))
                )
            )
            air.close()

        run(main())

    return decorated


# --- directed advertising


@pytest.mark.parametrize("air", AIRS, ids=["kind", "still", "rough"])
@pytest.mark.parametrize(("kind", "shortest", "longest"), [(HIGH, 0, 0.00375), (LOW, 0.1, 0.115)])
def test_directed_advertising_is_for_one(air, kind, shortest, longest):
    """7.8.5, 7.7.65.2: event type 1, no data, no scan response; low duty at the interval of the host, high duty at most
    every 3.75 ms (Vol 6 Part B 4.4.2.4.3)."""

    @on_air(air)
    async def work(unit, central, stranger):
        unit.advertise(kind)
        central.scan()
        stranger.scan()
        await asyncio.sleep(1.0)
        assert {(event, bytes(one), data) for _, event, one, data in central.reports} == {(1, bytes(UNIT), b"")}
        assert not stranger.reports
        times = [at for at, *_ in central.reports]
        gaps = sorted(b - a for a, b in itertools.pairwise(times))
        assert shortest <= gaps[0] < longest * 1.001
        assert len(times) > 5


@pytest.mark.parametrize("air", AIRS, ids=["kind", "still", "rough"])
@pytest.mark.parametrize("kind", [HIGH, LOW])
def test_only_its_target_connects(air, kind):
    """Vol 6 Part B 4.3.5 with 4.4.2.4: an initiator that is not the target ignores it."""

    @on_air(air)
    async def work(unit, central, stranger):
        unit.advertise(kind)
        stranger.connect()
        await asyncio.sleep(0.5)
        assert not stranger.completed
        central.connect()
        await asyncio.sleep(0.7)
        assert [code for _, code in central.completed] == [OK]
        assert [code for _, code in unit.completed] == [OK]
        await asyncio.sleep(2)
        assert len(unit.completed) == 1, "the time of high duty advertising is over with the link"


def test_the_type_of_the_target_counts():
    """7.8.5: the peer's address has a type; an address is what it is with that."""

    @on_air()
    async def work(unit, central, stranger):
        unit.advertise(LOW, target=hci.Address(bytes(CENTRAL), hci.AddressType.PUBLIC_DEVICE))
        central.scan()
        central_connects = central.connect()
        await asyncio.sleep(1)
        assert central_connects == OK
        assert not central.reports
        assert not central.completed


@pytest.mark.parametrize("air", AIRS, ids=["kind", "still", "rough"])
def test_high_duty_advertising_ends_after_1_28_s(air):
    """7.7.65.1, 7.8.9: LE Connection Complete with status 0x3C; then it is over, and may begin again."""

    @on_air(air)
    async def work(unit, central, stranger):
        began = asyncio.get_running_loop().time()
        for expected in (1, 2):
            assert unit.advertise(HIGH, interval=0) == OK, "its interval is ignored"
            await asyncio.sleep(1.27)
            assert len(unit.completed) == expected - 1
            await asyncio.sleep(0.02)
            assert len(unit.completed) == expected
        (at, code), _ = unit.completed
        assert (round(at - began, 3), code) == (1.28, 0x3C)
        central.scan()
        await asyncio.sleep(0.5)
        assert not central.reports


def test_what_ends_high_duty_advertising_before_is_no_timeout():
    @on_air()
    async def work(unit, central, stranger):
        unit.advertise(HIGH)
        await asyncio.sleep(1)
        assert unit.silence() == OK
        await asyncio.sleep(1)
        unit.advertise(LOW)
        await asyncio.sleep(1)
        unit.do(hci.HCI_Reset_Command())
        await asyncio.sleep(1)
        assert not unit.completed


# --- the accept list


def test_the_list_has_a_size():
    """7.8.14, 7.8.16: full is memory capacity exceeded (0x07); one that is there is not added again."""

    @on_air()
    async def work(unit, central, stranger):
        size = unit.on_hci_le_read_filter_accept_list_size_command(None).filter_accept_list_size
        all_of_them = [hci.Address(f"C0:00:00:00:00:{number:02X}") for number in range(size)]
        assert size == 8
        assert unit.add(*all_of_them) == [OK] * size
        assert unit.add(all_of_them[0], CENTRAL) == [OK, FULL]
        assert unit.remove(all_of_them[3]) == OK
        assert unit.add(CENTRAL, STRANGER) == [OK, FULL]
        assert unit.forget_all() == OK
        assert unit.add(*all_of_them) == [OK] * size
        unit.do(hci.HCI_Reset_Command())
        assert unit.add(CENTRAL) == [OK], "Vol 6 Part B 4.3.1: empty after a reset"


@pytest.mark.parametrize("begin", ["advertise", "scan", "connect"])
def test_the_list_is_not_changed_while_it_is_in_use(begin):
    """7.8.15 to 7.8.17: command disallowed (0x0C); with a policy that does not ask it, it may change."""

    @on_air()
    async def work(unit, central, stranger):
        end = {"advertise": unit.silence, "scan": unit.stop_scan, "connect": unit.give_up}[begin]
        for policy, expected in ((1, DISALLOWED), (0, OK)):
            assert getattr(unit, begin)(policy=policy) == OK
            found = [*unit.add(CENTRAL), unit.remove(CENTRAL), unit.forget_all()]
            assert found == [expected] * 3, policy
            assert end() == OK
            assert [*unit.add(CENTRAL), unit.remove(CENTRAL), unit.forget_all()] == [OK] * 3
            await asyncio.sleep(0)


@pytest.mark.parametrize("air", [None, STILL], ids=["kind", "rough"])
@pytest.mark.parametrize(("policy", "answered", "connected"), [(0, 2, 2), (1, 1, 2), (2, 2, 1), (3, 1, 1)])
def test_policies_of_an_advertiser(air, policy, answered, connected):
    """7.8.5: scan requests (1), connection requests (2), both (3) of the list alone. All hear its advertisements; a request
    that is not heard leaves the central with a link that never comes about (0x3E, Vol 6 Part B 4.5.2)."""

    @on_air(air)
    async def work(unit, central, stranger):
        unit.add(CENTRAL)
        unit.advertise(policy=policy)
        both, heard, links = (central, stranger), [], []
        for one in both:
            one.scan()
            await asyncio.sleep(3.0)
            heard.append({kind for _, kind, *_ in one.reports})
            one.stop_scan()
        for one in both:
            if not unit.air.band.is_on(unit.advertiser):
                unit.advertise(policy=policy)
            one.connect()
            await asyncio.sleep(1.0)
            links.append(not one.events(hci.HCI_Disconnection_Complete_Event))
        assert heard == [{0, 4}, {0, 4} if answered == 2 else {0}]
        assert links == [True, connected == 2]
        if connected == 1:
            (_, lost), = stranger.events(hci.HCI_Disconnection_Complete_Event)  # fmt: skip
            assert lost.reason == 0x3E
            assert len(unit.completed) == 1


PRIVATE = hci.Address("40:00:00:00:00:09")


@pytest.mark.parametrize(
    ("policy", "heard"),
    [(0, {"open", "to us"}), (1, {"listed", "listed to us"}), (2, {"open", "to us", "private"}), (3, {"listed", "listed to us", "listed private"})],
)  # fmt: skip
def test_policies_of_a_scan(policy, heard):
    """7.8.10: all (0), of the list (1); with 2 and 3 directed advertising to a resolvable private address too, in an event of
    its own (7.7.65.11). Directed to somebody else is never reported."""

    @on_air()
    async def work(unit, central, stranger):
        units = {}
        for number, (name, kind, target) in enumerate([
            ("open", ADV_IND, CENTRAL), ("to us", LOW, CENTRAL), ("private", LOW, PRIVATE), ("other", LOW, STRANGER),
            ("listed", ADV_IND, CENTRAL), ("listed to us", LOW, CENTRAL), ("listed private", LOW, PRIVATE),
        ]):  # fmt: skip
            address = hci.Address(f"C0:00:00:00:01:{number:02X}")
            units[bytes(address)] = name
            one = Controller(name, unit.air, address)
            one.advertise(kind, target)
            if name.startswith("listed"):
                central.add(address)
        assert central.scan(policy, active=False) == OK
        await asyncio.sleep(1)
        directed = [p for _, p in central.told if p[1:2] == b"\x3e" and p[3] == 0x0B]
        assert all((p[4], p[5], p[13]) == (1, 1, 1) and p[14:20] == bytes(PRIVATE) for p in directed)
        usual = {units[bytes(one)] for _, _, one, _ in central.reports}
        found = usual | {units[p[7:13]] for p in directed}
        everything = heard | ({"listed", "listed to us"} if policy in (0, 2) else set())
        assert found == everything | ({"listed private"} if policy == 2 else set())
        assert not any("private" in name for name in usual)


@pytest.mark.parametrize(("listed", "expected"), [([UNIT], [OK]), ([STRANGER], []), ([], [])])
def test_a_connection_to_whoever_of_the_list_is_heard(listed, expected):
    """7.8.12: initiator filter policy 1; the address of the command is ignored."""

    @on_air()
    async def work(unit, central, stranger):
        central.add(*listed)
        unit.advertise()
        central.connect(peer=STRANGER, policy=1)
        await asyncio.sleep(1)
        assert [code for _, code in central.completed] == expected


@pytest.mark.parametrize(("kind", "policy"), [(5, 0), (0, 4)])
def test_parameters_that_there_are_none_of(kind, policy):
    @on_air()
    async def work(unit, central, stranger):
        assert unit.advertise(kind, policy=policy) == INVALID


def test_a_random_address_is_not_changed_while_it_is_in_use():
    """7.8.4; 7.8.9: advertising takes the one that is set by then."""

    @on_air()
    async def work(unit, central, stranger):
        command = hci.HCI_LE_Set_Random_Address_Command(random_address=STRANGER)
        for begin, end in ((unit.advertise, unit.silence), (unit.scan, unit.stop_scan), (unit.connect, unit.give_up)):
            assert begin() == OK
            assert unit.do(command) == DISALLOWED
            assert end() == OK
        assert unit.do(command) == OK
        assert unit.do(hci.HCI_LE_Set_Advertising_Enable_Command(advertising_enable=1)) == OK
        assert bytes(unit.advertiser.address) == bytes(STRANGER)


# --- encryption

KEY, OTHER = bytes(range(16)), bytes(16)


async def encrypt(unit, central, key, answer):
    """What both hosts are told, in their order, when the central asks for encryption with this key, and the unit answers."""
    for one in (unit, central):
        one.told.clear()
    (link,) = unit.air.links
    central.do(
        hci.HCI_LE_Enable_Encryption_Command(
            connection_handle=link.central.handle, random_number=bytes(8), encrypted_diversifier=0, long_term_key=key
        )
    )
    await asyncio.sleep(0.2)
    handle = link.peripheral.handle
    if answer is None:
        unit.do(hci.HCI_LE_Long_Term_Key_Request_Negative_Reply_Command(connection_handle=handle))
    else:
        unit.do(hci.HCI_LE_Long_Term_Key_Request_Reply_Command(connection_handle=handle, long_term_key=answer))
    await asyncio.sleep(0.2)
    kinds = (
        hci.HCI_Encryption_Change_Event,
        hci.HCI_Encryption_Key_Refresh_Complete_Event,
        hci.HCI_Disconnection_Complete_Event,
    )
    return [[(type(event).__name__.split("_")[1:3], getattr(event, "reason", event.status)) for _, event in one.events(kinds)] for one in (unit, central)]  # fmt: skip


CHANGED, REFRESHED, ENDED = ["Encryption", "Change"], ["Encryption", "Key"], ["Disconnection", "Complete"]


@pytest.mark.parametrize(
    ("second", "answer", "at_unit", "at_central"),
    [
        (KEY, KEY, (REFRESHED, 0), (REFRESHED, 0)),
        (OTHER, KEY, (ENDED, 0x3D), (ENDED, 0x3D)),
        (KEY, None, (ENDED, 0x06), (ENDED, 0x06)),
    ],
    ids=["the same", "another", "none"],
)
def test_new_keys_of_an_encrypted_link(second, answer, at_unit, at_central):
    """7.7.39; Vol 6 Part B 5.1.3: the first is a change, the next ones are a refresh. One that cannot go on ends the link."""

    @on_air()
    async def work(unit, central, stranger):
        unit.advertise()
        central.connect()
        await asyncio.sleep(0.5)
        none_yet = [[], [(CHANGED, 0x06)]]
        assert await encrypt(unit, central, KEY, None) == none_yet, "without a key the link stays as it is"
        assert await encrypt(unit, central, KEY, KEY) == [[(CHANGED, 0)], [(CHANGED, 0)]]
        assert await encrypt(unit, central, second, answer) == [[at_unit], [at_central]]


def test_a_new_link_is_not_encrypted():
    @on_air()
    async def work(unit, central, stranger):
        for _ in range(2):
            unit.advertise()
            central.connect()
            await asyncio.sleep(0.5)
            assert await encrypt(unit, central, KEY, KEY) == [[(CHANGED, 0)], [(CHANGED, 0)]]
            (link,) = unit.air.links
            link.peripheral.send_ll_control_pdu(ll.TerminateInd(0x13))
            await asyncio.sleep(0.2)
