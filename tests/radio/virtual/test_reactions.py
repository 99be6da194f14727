"""What occasions set off in a simulated device: answers that depend on what was written, fields, states, later actions."""

import asyncio

import pytest
from bleak.exc import BleakError

from tests.radio.virtual.bench import OWN, Bench, models, problems_of

CONTROL, ANSWER, SETTINGS, TEST, COUNT, TEXT, LOG = (OWN(number) for number in range(0x20, 0x27))
BOX = f"""
device: box
advertising: {{interval: 20 ms}}
services:
  - service: {OWN(1)}
    characteristics:
      - characteristic: {CONTROL}
        name: control
        as: hex
        properties: [write, write without response]
        on_write:
          store: false
          CASES
      - {{characteristic: {ANSWER}, name: answer, as: hex, properties: [notify], raw: ''}}
      - characteristic: {SETTINGS}
        name: settings
        properties: [read, write]
        fields:
          - {{name: limit, as: sint16, scale: 0.1, unit: °C}}
          - {{name: status, as: uint8, bits: {{armed: 0x01, door: {{mask: 0x06, words: {{0: shut, 1: open}}}}}}}}
          - {{name: ticks, as: uint8}}
        value: {{limit: 5 °C, armed: false, door: shut, ticks: {{counter: {{}}}}}}
      - characteristic: {TEST}
        name: test
        properties: [read, notify]
        volatile: true
        fields:
          - {{name: state, as: uint8, words: {{0: idle, 1: running, 2: done}}}}
          - {{name: progress, as: uint8, unit: '%'}}
        value: {{state: idle, progress: 0 %}}
      - {{characteristic: {COUNT}, name: count, as: uint16, unit: m, scale: 5, properties: [read, write], value: 10 m}}
      - {{characteristic: {TEXT}, name: text, as: utf8, properties: [read], value: counter 0099}}
      - {{characteristic: {LOG}, name: log, as: hex, properties: [read], value: '{"0123456789" * 5}'}}
MORE
"""


def box(*cases, more=""):
    listed = "\n".join(f"            - {{{case}}}" for case in cases)
    return BOX.replace("CASES", f"cases:\n{listed}" if cases else "").replace("MORE", more)


class Central:
    """A bench with a link to the box."""

    def __init__(self, text):
        self.bench = Bench(text)
        self.heard = []

    async def __aenter__(self):
        await self.bench.__aenter__()
        self.device = self.bench.device
        self.client = await self.bench.connect("box")
        for uuid in (ANSWER, TEST):
            await self.client.start_notify(uuid, lambda _, value: self.heard.append((self.bench.now, value.hex())))
        return self

    async def __aexit__(self, *_):
        await self.client.disconnect()
        await self.bench.__aexit__()

    async def send(self, text, wait=0.5):
        """What was notified after these bytes."""
        before = len(self.heard)
        await self.client.write_gatt_char(CONTROL, bytes.fromhex(text), response=True)
        await asyncio.sleep(wait)
        return [value for _, value in self.heard[before:]]

    async def read(self, uuid):
        return (await self.client.read_gatt_char(uuid)).hex()


async def test_the_first_case_that_fits_answers():
    cases = (
        "starts_with: '01', notify: {answer: '81 00'}",
        "matches: '02(?P<page>..)', notify: {answer: '82 {page} {count}'}",
        "starts_with: '02', att_error: 0x81",
        "matches: '03.*', notify: {answer: written}",
    )
    async with Central(box(*cases)) as central:
        assert await central.send("01 AA") == ["8100"]
        assert await central.send("02 0B") == ["820b0200"]
        assert await central.send("03 04 05") == ["030405"]
        assert await central.send("04") == []
        with pytest.raises(BleakError, match="0x81"):
            await central.send("02 0B 0C")


async def test_a_case_depends_on_another_value():
    cases = (
        "starts_with: '01', only_if: {settings.door: open}, notify: {answer: '81 01'}",
        "starts_with: '01', notify: {answer: '81 00'}",
        "starts_with: '02', set: {settings.door: open, settings.limit: -12.5 °C}",
        "matches: '03(?P<limit>....)', set: {settings.limit: '{limit}'}",
    )
    async with Central(box(*cases)) as central:
        assert await central.send("01") == ["8100"]
        await central.send("02")
        assert await central.send("01") == ["8101"]
        assert [await central.read(SETTINGS) for _ in range(2)] == ["83ff0200", "83ff0201"]
        await central.send("03 0A 00")
        assert await central.read(SETTINGS) == "0a000202"
        await central.client.write_gatt_char(SETTINGS, bytes.fromhex("01000009"), response=True)
        assert await central.read(SETTINGS) == "01000009"


async def test_more_is_added_in_the_steps_of_the_format_to_a_text_too():
    cases = (
        "starts_with: '01', set: {count: {add: 15 m}, text: {add: 2}}",
        "starts_with: '02', set: {count: {add: -1000 m}}",
        "starts_with: '03', set: {settings.ticks: {add: length}}",
    )
    async with Central(box(*cases)) as central:
        await central.send("01")
        assert (await central.read(COUNT), bytes.fromhex(await central.read(TEXT))) == ("0500", b"counter 0101")
        await central.send("02")
        assert await central.read(COUNT) == "0000"
        await central.send("03 00 00")
        await central.send("03")
        assert await central.read(SETTINGS) == "32000004"


async def test_a_self_test_runs_on_and_a_restart_resets_it():
    run = "{state: {states: [{value: running, for: 3 s}, {value: done}]}, progress: {ramp: {from: 0 %, to: 100 %, over: 3 s}}}"
    cases = (f"starts_with: '01', notify: {{test: {run}}}", "starts_with: '02', then: [{delay: 100 ms, reboot: 1 s}]")
    async with Central(box(*cases)) as central:
        began = central.bench.now
        assert await central.send("01", wait=4.0) == ["0100", "0264"]
        assert [round(at - began, 1) for at, _ in central.heard] == [0.0, 3.0]
        assert await central.send("01", wait=1.5) == ["0100"]
        assert 0x0130 < int(await central.read(TEST), 16) < 0x0135
        assert await central.send("01", wait=2.9) == ["0100"]
        await central.send("02", wait=3.0)
        assert not central.client.is_connected
        again = await central.bench.connect("box")
        assert (await again.read_gatt_char(TEST)).hex() == "0000"
        await again.disconnect()


async def test_a_long_answer_comes_in_pieces_and_a_list_with_its_pace():
    cases = (
        "starts_with: '01', notify: {answer: {pieces: '{log}', size: 10, header: '01', last: 'FF'}}",
        "starts_with: '02', notify: {answer: {several: ['02', '{count} 03'], every: 100 ms}}",
        f"starts_with: '03', notify: {{answer: {{pieces: '{'AB' * 300}'}}}}",
        "starts_with: '04', notify: {answer: {pieces: '', header: '01', last: 'FF'}}",
        "starts_with: '05', notify: {answer: {pieces: '313233343536373839', crc: {name: CRC-16/XMODEM, order: big}}}",
    )
    async with Central(box(*cases)) as central:
        log = "0123456789" * 5
        assert await central.send("01") == ["01" + log[:18], "01" + log[18:36], "ff" + log[36:]]
        assert await central.send("02") == ["02", "020003"]
        assert central.heard[-1][0] - central.heard[-2][0] == pytest.approx(0.1, abs=0.02)
        assert [len(value) // 2 for value in await central.send("03")] == [244, 56]
        assert await central.send("04") == ["ff"]
        # 0x31C3 is the check value of the catalogue (reveng.sourceforge.io/crc-catalogue)
        assert await central.send("05") == ["31323334353637383931c3"]


async def test_what_follows_comes_in_its_time_and_not_after_a_restart():
    cases = (
        "starts_with: '01', then: [{delay: 1 s, notify: {answer: '02'}}, {delay: 300 ms, notify: {answer: '01'}}]",
        "starts_with: '02', reboot: 200 ms",
    )
    async with Central(box(*cases)) as central:
        assert await central.send("01", wait=2.0) == ["01", "02"]
        assert await central.send("01", wait=0.5) == ["01"]
        with pytest.raises(BleakError):
            await central.send("02")
        again = await central.bench.connect("box")
        await again.start_notify(ANSWER, lambda _, value: central.heard.append((0.0, value.hex())))
        await asyncio.sleep(2.0)
        assert central.heard[-1][1] == "01"
        await again.disconnect()


async def test_every_third_that_no_case_before_takes_ends_the_link():
    cases = ("starts_with: '12 34', set: {settings.door: open}", "every: 3, disconnect: true, set: {count: {add: 5 m}}",
             "att_error: 0x80")  # fmt: skip
    async with Central(box(*cases)) as central:
        for _ in range(2):
            with pytest.raises(BleakError, match="0x80"):
                await central.send("00 00")
        await central.send("12 34")
        with pytest.raises(BleakError):
            await central.send("00 00")
        assert not central.client.is_connected
        assert central.device.characteristics["count"].current().hex() == "0300"


async def test_what_was_written_has_to_fit_where_it_goes():
    cases = ("starts_with: '01', set: {settings.limit: written}", "matches: '02(?P<odd>.)', set: {count: '{odd}'}")
    async with Central(box(*cases)) as central:
        with pytest.raises(BleakError, match=r"(?i)out of range|0xff"):
            await central.send("01 02 03")
        assert await central.read(SETTINGS) == "32000000"


async def test_ship_mode_lasts_until_it_is_over():
    cases = ("starts_with: '01', then: [{delay: 100 ms, sleep: 20 s, disconnect: true}]",
             "starts_with: '02', sleep: for good")  # fmt: skip
    async with Central(box(*cases, more="on_disconnect: [{print: gone}]")) as central:
        lines = []
        central.device.console_listeners.append(lines.append)
        await central.send("01", wait=1.0)
        assert not central.client.is_connected
        assert await central.bench.scan(18.0) == []
        assert len(await central.bench.scan(3.0)) > 50
        again = await central.bench.connect("box")
        await again.write_gatt_char(CONTROL, b"\2", response=True)
        await again.disconnect()
        assert await central.bench.scan(60.0) == []
        assert lines == ["gone", "gone"]
        central.device.reboot(1.0)
        assert await central.bench.scan(0.9) == []
        assert await central.bench.scan(3.0) != []


async def test_occasions_of_the_device_and_its_console():
    more = """
on_start: [{print: boot}, {delay: 1 s, print: 'ready {text}'}]
on_connect: [{set: {count: {add: 5 m}}, print: 'connection'}]
console:
  - {matches: 'limit (?P<value>\\S+)', set: {settings.limit: '{value} °C'}, print: 'ok {value} {settings.limit}'}
  - {matches: 'test', only_if: {settings.door: open}, print: never}
  - {matches: 'restart', then: [{delay: 10 ms, reboot: 2 s}]}
  - {print: 'unknown {written}'}
"""
    async with Central(box(more=more)) as central:
        lines = []
        central.device.console_listeners.append(lines.append)
        assert await central.read(COUNT) == "0300"
        for line in ("limit 7.5", "limit high", "test"):
            await central.device.take_line(line)
        assert (await central.read(SETTINGS))[:4] == "4b00"
        await central.device.take_line("restart")
        await asyncio.sleep(1.0)
        await central.device.take_line("nobody there")
        await asyncio.sleep(3.0)
        assert lines == ["ok 7.5 7.5", "unknown test", "boot", "ready counter 0099"]


@pytest.mark.parametrize("delay", [0.0, 0.1, 0.2, 0.3, 0.7, 1.1, 2.0])
async def test_it_advertises_again_after_a_delay(delay):
    text = box().replace("interval: 20 ms", f"interval: 20 ms, again_after: {delay} s")
    async with Central(text) as central:
        await central.client.disconnect()
        assert await central.bench.scan(delay * 0.9) == []
        assert await central.bench.scan(0.5) != []


async def test_values_that_run_by_themselves():
    states = "{states: [{value: '01', for: 5 s}, {value: {sequence: ['02', '03']}, for: 5 s}, {value: {random: {bytes: 4}}}]}"
    text = box().replace(
        "value: counter 0099", "value: {counter: {text: 'no {number}.', start: 8, step: 2, digits: 3}}"
    )
    text = text.replace(f"value: '{'0123456789' * 5}'", f"value: {states}")
    async with Central(text) as central:
        assert [bytes.fromhex(await central.read(TEXT)) for _ in range(2)] == [b"no 008.", b"no 010."]
        read = [await central.read(LOG)]
        for wait in (5.0, 0.0, 5.0, 0.0):
            await asyncio.sleep(wait)
            read.append(await central.read(LOG))
        assert read[:3] == ["01", "02", "03"]
        assert len(set(read[3:])) == 2
        assert {len(value) for value in read[3:]} == {8}


async def test_a_clock_goes_on_from_what_was_written_and_wraps():
    text = box().replace("name: count, as: uint16, unit: m, scale: 5, properties: [read, write], value: 10 m",
                         "name: count, as: uint16, unit: s, properties: [read, write], value: {clock: {start: 100 s}}")  # fmt: skip
    async with Central(text) as central:
        assert int.from_bytes(bytes.fromhex(await central.read(COUNT)), "little") in (100, 101)
        await central.client.write_gatt_char(COUNT, b"\xfa\xff", response=True)
        await asyncio.sleep(10.0)
        assert int.from_bytes(bytes.fromhex(await central.read(COUNT)), "little") == (0xFFFA + 10) % 0x10000


async def test_each_tenth_notification_is_dropped():
    text = box().replace("properties: [notify], raw: ''", "properties: [notify], value: {sequence: ['01', '02', '03']}, "
                         "notify: {period: 100 ms, drop_every: 3}")  # fmt: skip
    async with Central(text) as central:
        await asyncio.sleep(1.0)
        assert {value for _, value in central.heard} == {"01", "02"}


WRONG = [
    ("starts_with: '01', matches: '01'", "'starts_with' and 'matches' exclude each other"),
    ("matches: '(01'", "is not a regular expression"),
    ("every: 0", "expected a number from 1 on, found 0"),
    ("only_if: {nothing: 1}", "this device has no characteristic 'nothing'"),
    ("only_if: {settings.doors: open}", "'settings' has no field 'doors'"),
    ("only_if: {settings.door: ajar}", "ajar"),
    ("set: {settings.limit: 5}", "expected a number with its unit, found 5"),
    ("set: {settings.limit: 5 V}", "5 V is a voltage, not a temperature"),
    ("set: {count: {add: 2 kg}}", "2 kg is a mass, not a difference of length"),
    ("set: {log: {add: 1}}", "'log' is not a number"),
    ("notify: {answer: '81 {pgae}'}", "this device has no characteristic 'pgae'"),
    ("notify: {answer: '81 {count}0'}", "expected bytes as hex text"),
    ("notify: {log: '01'}", "'log' has neither notify nor indicate"),
    ("notify: {answer: {pieces: '01', size: 1, header: '01'}}", "a piece is longer than its header"),
    ("notify: {answer: {pieces: '01', header: '01', last: 'FFFF'}}", "'header' and 'last' have as many bytes"),
    ("notify: {answer: {pieces: '01', crc: CRC-17}}", "CRC-17"),
    ("notify: {answer: {several: []}}", "expected a list of values"),
    ("notify: {answer: {several: ['01', 1]}}", "expected bytes as hex text"),
    ("notify: {answer: {several: ['01'], evry: 1 s}}", "unknown key 'evry'"),
    ("notify: {answer: {timed: {}}}", "expected times with their values"),
    ("notify: {answer: {timed: {soon: '01'}}}", "expected a time with its unit"),
    ("notify: {answer: {timed: {-1 s: '01'}}}", "a time of -1 s is negative"),
    ("notify: {answer: {timed: {1 s: 1}}}", "expected bytes as hex text"),
    ("set: {answer: {several: ['01']}}", "expected a value or one generator"),
    ("then: [{delay: 1 s}]", "an action without anything to do"),
    ("then: [{att_error: 0x80}]", "unknown key 'att_error'"),
    ("then: [{set: {test.state: ready}}]", "ready"),
    ("sleep: long", "expected a time with its unit"),
    ("print: '{nothing}'", "this device has no characteristic 'nothing'"),
    ("set: {test.state: {states: [{value: done, for: 0 s}, {value: idle}]}}", "a state takes some time"),
    ("set: {test.state: {states: [{value: done, for: 1 s}]}}", "the last state stays, so 'for' says nothing"),
    ("set: {test.state: {states: [{value: done}, {value: idle}]}}", "the key 'for' is missing"),
    ("set: {test.state: {states: [{value: idle, for: 1 s}, {value: gone}]}}", "found 'gone'"),
    (
        "matches: '01(?P<token>..)', notify: {answer: '81 {tokn}'}",
        "no characteristic 'tokn', and no group has that name",
    ),
    ("set: {text: {counter: {text: none}}}", "expected a text with one {number} in it"),
    ("set: {count: {clock: {}}}", "a clock counts seconds"),
    ("set: {count: {random: {bytes: 2}}}", "random bytes need a format of bytes"),
]


@pytest.mark.parametrize(("case", "problem"), WRONG, ids=[problem for _, problem in WRONG])
def test_what_is_wrong_with_a_case(case, problem):
    found = problems_of(box(case))
    assert len(found) == 1
    assert problem in found[0]


@pytest.mark.parametrize("part", ["{value: done}", "nowhere", "{value: done, for: 0 s}"])
def test_the_place_of_a_wrong_state_is_its_own(part: str) -> None:
    text = box(f"set: {{test.state: {{states: [{part}, {{value: idle}}]}}}}")
    [found] = problems_of(text)
    number, column = map(int, found.split(" ")[0].split(":"))
    inner = part.find("0 s") if "0 s" in part else 0
    assert text.splitlines()[number - 1][column - 1 :].startswith(part[inner:])


def test_nothing_comes_after_a_case_that_fits_each_time() -> None:
    last = ("starts_with: '01', print: one", "print: others")
    assert models(box(*last))
    [found] = problems_of(box(*reversed(last)))
    assert "none after it ever happens" in found
    [found] = problems_of(box(more="console: [{print: what}, {matches: ver, print: '1'}]\n"))
    assert "none after it ever happens" in found
    assert models(box("every: 3, disconnect: true", "only_if: {settings.door: open}, print: a", *last))


def test_what_is_wrong_with_occasions_comes_at_once_with_its_place():
    more = "on_start: [{reboot: 1 s}, {set: {cont: 5 m}}]\nconsole: [{matches: x, set: {settings.door: wide}}]\n"
    found = problems_of(box(more=more))
    assert [one.partition(" ")[2][:40] for one in found] == [
        "this device has no characteristic 'cont'",
        "expected one of the words, found 'wide'",
        "a device that starts again whenever it h",
    ]


def test_a_long_list_of_cases_is_read():
    assert models(box(*[f"matches: '{number:04}', notify: {{answer: '01'}}" for number in range(400)]))
