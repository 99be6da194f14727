"""What a simulated device allows on which link: each kind of request, at each level, against a small model of its own."""

import asyncio
from types import SimpleNamespace

from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.radio.bumble_stack.bumble_api import att
from benchrig.radio.security import Level, Protection, Wish
from benchrig.radio.virtual.access_rules import Needs
from benchrig.radio.virtual.clock import run
from tests.radio.virtual.bench import OWN, Bench
from tests.radio.virtual.central import WISHES, code_of, encrypt, handle, pair, unit

NEEDS = ["encrypted", "authenticated", "secure connections"]
ALL = "properties: [read, write, write without response, notify]"
ROW = (
    "{all}, read_needs: {need}, write_needs: {need}, subscribe_needs: {need}{more}, descriptors: "
    "[{{descriptor: user description, value: x, writable: true, read_needs: {need}, write_needs: {need}{more}}}]"
)
OPEN, UNAUTHORIZED, NOTHING = 5, 6, 7  # numbers of attributes, behind those of NEEDS
ATTRIBUTES = [
    *(ROW.format(all=ALL, need=need, more=", key_size_needed: 16") for need in NEEDS),
    f"{ALL}, descriptors: [{{descriptor: user description, value: x, writable: true}}]",
    f"{ALL}, authorized: false, descriptors: [{{descriptor: user description, value: x, writable: true, authorized: false}}]",
    "properties: [broadcast], descriptors: [{descriptor: user description, value: x}]",
]
# kinds of request: how it is made for the handle of a value, and whether it reads or writes; the descriptor comes next
REQUESTS = {
    "read": lambda at: att.ATT_Read_Request(attribute_handle=at),
    "read blob": lambda at: att.ATT_Read_Blob_Request(attribute_handle=at, value_offset=0),
    "read by type": lambda at: att.ATT_Read_By_Type_Request(
        starting_handle=at, ending_handle=at, attribute_type=_type(at)
    ),
    "write": lambda at: att.ATT_Write_Request(attribute_handle=at, attribute_value=b"\x01"),
    "prepare": lambda at: att.ATT_Prepare_Write_Request(
        attribute_handle=at, value_offset=0, part_attribute_value=b"\x01"
    ),
}
_TYPES: dict[int, object] = {}


def _type(at):
    return _TYPES[at]


def expected(kind, need, level, key_size, has_key, *, authorized=True):
    """The table of the specification, written down once more."""
    if need and level == Level.NO_SECURITY:
        return 0x0F if has_key else 0x05
    if need and level < 1 + NEEDS.index(need):
        return 0x05
    if need and key_size < 16:
        return 0x0C
    if not authorized:
        return 0x08
    return 0x0B if kind == "read blob" else 0  # a short value has no further part


async def answers(client, number):
    """The ATT error of each request to an attribute and to its descriptor."""
    at = handle(client, number)
    found = {}
    for kind, make in REQUESTS.items():
        for where in (at, at + 1):
            _TYPES[where] = att.UUID(OWN(number)) if where == at else att.UUID.from_16_bits(0x2901)
            found[kind, where - at] = await code_of(client, make(where))
    await code_of(client, att.ATT_Execute_Write_Request(flags=0))
    return found


async def check(client, level, key_size, has_key):
    """All attributes, but where nothing is encrypted: there one is as good as the other."""
    needing = [*enumerate(NEEDS, 2)] if level else [(3, NEEDS[1])]
    for number, need in [*needing, (OPEN, None), (UNAUTHORIZED, None)][: None if level else 2]:
        for (kind, _), code in (await answers(client, number)).items():
            wanted = expected(kind, need, level, key_size, has_key, authorized=number != UNAUTHORIZED)
            assert code == wanted, (number, kind, level, has_key)
        cccd = att.ATT_Write_Request(attribute_handle=handle(client, number) + 2, attribute_value=b"\x01\x00")
        wanted = expected("write", need, level, key_size, has_key, authorized=number != UNAUTHORIZED)
        assert await code_of(client, cccd) == wanted, number


async def test_every_request_at_every_level():
    """Permissions come first whatever the link is; a write without response is lost without a word."""
    async with Bench(unit("capability: display", attributes=ATTRIBUTES)) as bench:
        has_key = False
        for level, wish, size in (
            (Level.ENCRYPTED, WISHES[Level.ENCRYPTED], 16),
            (Level.AUTHENTICATED, WISHES[Level.AUTHENTICATED], 16),
            (Level.SECURE_CONNECTIONS, WISHES[Level.SECURE_CONNECTIONS], 16),
            (Level.ENCRYPTED, Wish(key_size=7), 7),
        ):
            client = await bench.connect("unit")
            if len(bench.device.security.peers) == 0 or level == Level.AUTHENTICATED:
                await check(client, Level.NO_SECURITY, 0, has_key)
            paired = await pair(bench, client, wish)
            assert (paired.failure, paired.key_size) == ("none", size)
            has_key = True
            await check(client, level, size, has_key)
            assert await code_of(client, REQUESTS["read"](handle(client, NOTHING))) == 0x02
            assert await code_of(client, REQUESTS["write"](handle(client, NOTHING))) == 0x03
            await client.disconnect()
            client = await bench.connect("unit")
            assert (await encrypt(client)).failure == "none"
            assert await code_of(client, REQUESTS["read"](handle(client, 2))) == expected(
                "read", NEEDS[0], level, size, True
            )
            await client.disconnect()


async def test_a_write_without_response_that_is_refused_is_lost():
    async with Bench(unit("capability: display", attributes=[f"{ALL}, write_needs: encrypted"])) as bench:
        client = await bench.connect("unit")
        for paired, value in ((False, 7), (True, 1)):
            if paired:
                await pair(bench, client)
            await client.write_gatt_char(OWN(2), b"\x01", response=False)
            assert await client.read_gatt_char(OWN(2)) == bytes([value])


async def test_a_protected_value_is_found_by_no_search():
    text = unit("capability: display").replace(OWN(2), "battery level").replace("as: uint8, value: 7", "value: 7 %")
    async with Bench(text) as bench:
        client = await bench.connect("unit")
        search = att.ATT_Find_By_Type_Value_Request(
            starting_handle=1,
            ending_handle=0xFFFF,
            attribute_type=att.UUID.from_16_bits(0x2A19),
            attribute_value=b"\x07",
        )
        assert await code_of(client, search) == 0x0A
        await pair(bench, client)
        assert await code_of(client, search) == 0


async def test_a_value_is_not_sent_while_less_protects_the_link_than_subscribing_needs():
    attributes = [f"{ALL}, subscribe_needs: authenticated, notify: {{period: 100 ms}}"]
    async with Bench(unit("capability: display", attributes=attributes)) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        heard = []
        await client.start_notify(OWN(2), lambda _, value: heard.append(value))
        await asyncio.sleep(1.05)
        assert len(heard) == 10
        await pair(bench, client, Wish())
        heard.clear()
        await asyncio.sleep(1)
        assert not heard


LEVELS = st.sampled_from(
    [
        None,
        Protection(False, False),
        Protection(False, True, 7),
        Protection(True, False, 12),
        Protection(True, True, 16),
    ]
)
CASES = st.lists(
    st.tuples(
        st.sampled_from([*Level]),
        st.integers(7, 16),
        st.booleans(),
        LEVELS,
        st.booleans(),
        st.sampled_from(["read", "write"]),
    ),
    min_size=30,
    max_size=30,
)


@given(CASES)
@settings(max_examples=10, deadline=None)
def test_the_order_of_the_answers(cases):
    run(_ordered(cases))


async def _ordered(cases):
    async with Bench(unit(attributes=[ALL])) as bench:
        client = await bench.connect("unit")
        device = bench.device
        attribute = device.characteristics[OWN(2)].attribute
        for level, size, authorized, link, has_key, kind in cases:
            device.server._security = SimpleNamespace(
                is_strict=True, protection=lambda _, at=link: at, has_key=lambda _, has=has_key: has
            )
            device.server.protect(attribute, kind, Needs(level, size, authorized))
            wanted = model(level, size, authorized, link, has_key)
            assert await code_of(client, REQUESTS[kind](attribute.handle)) == wanted


def model(level, size, authorized, link, has_key):
    """The first of the reasons that holds."""
    reasons = [
        (level and link is None and has_key, 0x0F),
        (level and link is None, 0x05),
        (link is not None and link.level < level, 0x05),
        (level and link is not None and link.key_size < size, 0x0C),
        (not authorized, 0x08),
    ]
    return next((code for holds, code in reasons if holds), 0)
