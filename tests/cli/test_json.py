"""The table of the reference against the JSON that the commands write."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.desk.inspection import Content
from benchrig.errors import BenchrigError
from tests.bringing import PAGE, installed, write_example
from tests.cli.calling import call
from tests.desk.kit import Clumsy, Reader
from tests.desk.prompt.kit import LOCK, talked
from tests.history.folders import end_of_line, write
from tests.history.questions.kit import entry, file_of, history_of
from tests.reference import SECTIONS, words
from tests.run.kit import DEVICES, PLANS, device_text

SECTION = SECTIONS["JSON of the commands"]
ROWS = {row["document"]: row for row in SECTION.table("document")}
LOGGER = f"virtual:{DEVICES}/logger.yaml"
PLAN = ("-p", PLANS / "end_of_line.yaml")
YES = ("--acknowledge",)
# The address and the key of Core Vol 3 Part H appendix D.7.
BEACON = """device: beacon
address: '70:81:94:0D:FB:AA'
address_type: resolvable
advertising:
  interval: 100 ms
  data: {flags: 0x06, services: [battery], service_data: {battery: '55'}, manufacturer: {company: 0xFFFF, data: '01'}}
  scan_response: {name: Beacon, tx_power: -4 dBm}
services: []
"""
SECURITY = ("pair", "encrypt", "unpair", "bonds")
KEY = "ec0234a357c8ad05341010a60a397d9b"
LOSING = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [notify], value: 20 °C, notify: {period: 500 ms}}
      - {characteristic: humidity, properties: [read, write], value: 40 %}
"""
UUID = "6b1d0101-9a53-4c86-8a3e-2f0f6c1d7e40"
ANSWERING = f"""services:
  - service: 6b1d0100-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: {UUID}
        as: hex
        value: ''
        properties: [write, notify]
        on_write: {{notify: {{{UUID}: {{pieces: 00 AA 02 BB, size: 2}}}}}}
"""
SIMPLE = {
    "any command that failed as a whole": [("read", "temperature", "-d", "nobody", "--within", "1 s")],
    "read: a value": [("read", "temperature")],
    "read: none": [("read", "factory key", *PLAN)],
    "write: refused": [("write", "temperature", "8 °C", *YES), ("write", "factory key", "--raw", "00", *PLAN, *YES)],
    "exchange: refused": [
        ("exchange", "temperature", "--raw", "00", *YES), ("exchange", "factory key", "--raw", "00", "--reply", "command", *PLAN, *YES),
    ],
    "decode: a value": [("decode", "6608", "--as", "temperature"), ("decode", "66", "--as", "temperature")],
    "decode --advertising": [("decode", "020106", "--advertising"), ("decode", "09FF", "--advertising")],
    "decode --presentation": [
        ("decode", "--presentation", "0EFE2F27010000"), ("decode", "--presentation", "FFFE2F27010000"),
    ],
    "decode --address": [("decode", "--address", "70:81:94:0D:FB:AA", "--irk", KEY)],
    "encode": [("encode", "21.5 °C", "--as", "temperature")],
    "ready": [("ready",)],
    "escapes --list": [("escapes", PLANS / "smoke.yaml", "--list")],
}  # fmt: skip


def documents(*words: object, radio: str = LOGGER) -> list[dict[str, Any]]:
    own = () if words[0] in ("decode", "encode") else ("--radio", radio)
    text = call(*words, *own, "--json").stdout
    return [json.loads(text)] if words[0] == "inspect" else [json.loads(line) for line in text.splitlines()]


def check(name: str, found: list[dict[str, Any]]) -> None:
    """Every document has the keys of the row, what it has besides may be left out, and each of these is there once."""
    row = ROWS[name]
    required, optional = set(words(row["keys"])), set(words(row["keys that may be left out"]))
    assert found, "there is a document"
    for document in found:
        assert required <= set(document), name
    assert {key for document in found for key in document} == required | optional


def written(folder: Path, text: str) -> str:
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    return f"virtual:{folder}/device.yaml"


@pytest.mark.parametrize("name", SIMPLE)
def test_one_document(name: str) -> None:
    check(named(name), [each for command in SIMPLE[name] for each in documents(*command)])


def named(name: str) -> str:
    """The row whose words these are, whatever stands in backticks."""
    return next(row for row in ROWS if row.replace("`", "") == name)


def test_a_device_and_a_report(tmp_path: Path) -> None:
    radio = written(tmp_path, BEACON)
    check("`scan`: a device", documents("scan", "--irk", KEY, radio=radio))
    check("`scan --reports`: a report", documents("scan", "--reports", "--irk", KEY, "--for", "1 s", radio=radio))


def test_an_inspection(tmp_path: Path) -> None:
    golden = tmp_path / "golden.json"
    first = documents("inspect", "--save", golden)
    check("`inspect`", first + documents("inspect", "--against", golden))


def test_what_a_device_sends(tmp_path: Path) -> None:
    text = device_text(LOSING, more="faults: {disconnect_after: 2 s}")
    came = documents("watch", "temperature", "--for", "5 s", "--reconnect", radio=written(tmp_path, text))
    check("`watch`: `value`", [each for each in came if each.get("event") == "value"])
    log = documents("watch", "log stream", "--counter", "number", "--count", "2", *PLAN)
    check("`watch --counter`: `value`", log)
    check("`watch`: `link lost`", [each for each in came if each.get("event") == "link lost"])
    check("`watch`: `link back`, `no link`", [each for each in came if each.get("event") in ("link back", "no link")])


def test_a_write_and_one_that_is_not_kept(tmp_path: Path) -> None:
    kept = documents("write", "humidity", "50 %", *YES, radio=written(tmp_path, device_text(LOSING)))
    text = device_text(LOSING.replace("value: 40 %", "value: 40 %, on_write: {store: false}"))
    other = documents("write", "humidity", "50 %", "--read-back", *YES, radio=written(tmp_path, text))
    check("`write`: done", kept + other)


def test_an_exchange_and_one_with_answers_missing(tmp_path: Path) -> None:
    one = documents("exchange", "command", "--raw", "01", *PLAN, *YES)
    text = device_text(ANSWERING)
    many = documents("exchange", UUID, "--raw", "01", "--last-count", "2", "--skip", "1", "--counter", "0", *YES,
                     radio=written(tmp_path, text))  # fmt: skip
    check("`exchange`: done", one + many)


def test_a_draft(tmp_path: Path) -> None:
    check("`draft`", documents("draft", "-o", tmp_path / "plan.yaml", "--repeat", "1"))


def test_a_twin(tmp_path: Path) -> None:
    check("`twin`", documents("twin", "-o", tmp_path / "device.yaml", "--repeat", "1"))


def test_a_twin_of_a_run(tmp_path: Path) -> None:
    made = call("run", PLANS / "smoke.yaml", "--radio", written(tmp_path, BEACON), "--results", tmp_path)
    assert made.exit_code == 1
    check("`twin --of`", [json.loads(call("twin", "--of", *tmp_path.glob("2*"), "--check", "--json").stdout)])


def test_verbs_of_a_session() -> None:
    done = talked(
        "scan", "connect", "table", "read temperature", "write alarm limit 8 °C --read-back",
        "exchange command --raw 01", "watch temperature",
        "wait 2 s", "unwatch temperature", "watch log stream --counter number", "wait 1 s",
        "unwatch", "exchange command --raw 01 --last-count 1 --skip 1 --counter 0", "disconnect",
    )  # fmt: skip
    for name in ROWS:
        if name.startswith("`session`: ") and words(name)[1] not in SECURITY:
            check(name, [dict(each) for each in done.of(words(name)[1])])


def test_verbs_of_security() -> None:
    shown = talked(
        "pair keyboard", "encrypt", "disconnect", "connect", "encrypt", "bonds", "unpair", devices=(LOCK,)
    ).results
    forgets = LOCK.replace("capability: display", "capability: display, faults: {forgets_bonds: disconnection}")
    for party, device, said in (
        (Clumsy, LOCK, ["pair keyboard"]),
        (Reader, forgets, ["pair keyboard", "disconnect", "connect", "encrypt"]),
    ):
        with pytest.raises(BenchrigError):
            talked(*said, devices=(device,), party=party, into=shown)
    for verb in SECURITY:
        check(f"`session`: `{verb}`", [dict(each) for each in shown if each["verb"] == verb])


def test_the_bonds_of_a_station() -> None:
    check("`bonds`", [json.loads(call("bonds", "--json").stdout)])


def test_what_packages_bring(tmp_path: Path) -> None:
    write_example(tmp_path)
    with installed(tmp_path):
        document = json.loads(call("packages", "--json").stdout)
    check("`packages`", [document])
    said = PAGE.partition("each of `packages` has ")[2].partition(". Other")[0]
    assert [list(each) for each in document["packages"]] == [words(said)] * 3


def test_a_history_that_is_filled_and_checked(tmp_path: Path) -> None:
    write(tmp_path / "run", end_of_line())
    here = (tmp_path, "--history", tmp_path / "history.sqlite", "--json")
    filled = [json.loads(call("history", verb, *here).stdout) for verb in ("add", "rebuild", "deliver")]
    check("`history add`, `history rebuild`, `history deliver`", filled)
    assert [document["new"] for document in filled] == [["run"], ["run"], []]
    checked = json.loads(call("history", "check", *here).stdout)
    check("`history check`", [checked])
    assert (checked["whole"], checked["entries"], checked["records"]) == (True, 1, 1)


def test_the_yield_of_a_history(tmp_path: Path) -> None:
    history_of(tmp_path, [entry(1), entry(2, unit="B", verdict="fail")]).close()
    document = json.loads(call("yield", "--history", tmp_path / "history.sqlite", "--json").stdout)
    check("`yield`", [document])
    told = [word for row in SECTIONS["JSON of yield"].table("key") for word in words(row["key"])]
    assert sorted(told) == sorted(document["yields"][0])
    (share,) = (row["meaning"] for row in SECTIONS["JSON of yield"].table("key") if "`first_pass`" in row["key"])
    assert words(share) == [*document["yields"][0]["final"]]


def test_the_questions_of_a_history(tmp_path: Path) -> None:
    history_of(tmp_path, [entry(1, readings={"read voltage.value": 1.5})]).close()
    asked = {
        "`history runs`": ("runs",),
        "`history unit`": ("unit", "A"),
        "`history readings`: a list": ("readings",),
        "`history readings`: values": ("readings", "read voltage.value"),
    }
    for name, verb in asked.items():
        check(name, [json.loads(call("history", *verb, "--history", tmp_path / "history.sqlite", "--json").stdout)])


def test_the_capability_of_a_reading(tmp_path: Path) -> None:
    runs = [entry(number, unit=f"U{number}", readings={"scan.rssi": number, "a.b": 1}) for number in range(2)]
    history_of(tmp_path, [*runs, entry(3, readings={"once.value": 1})]).close()
    said = [
        call("capability", each, "--history", tmp_path / "history.sqlite", "--json")
        for each in ("scan.rssi", "once.value")
    ]
    check("`capability`", [json.loads(each.stdout) for each in said])


def test_the_drift_of_a_golden_unit(tmp_path: Path) -> None:
    golden = {"purpose": "golden", "reference": "G1", "slot": "1"}
    file = file_of(tmp_path, [entry(n, readings={"scan.rssi": n}, **golden) for n in range(3)])
    (tmp_path / "line.yaml").write_text(f"station: line 1\nradio: host\nhistory: {file}\n", "utf-8")
    check("`line drift`", [json.loads(call("line", "drift", tmp_path / "line.yaml", "--json").stdout)])


def test_every_row_is_tested() -> None:
    apart = {
        "history add, history rebuild, history deliver",
        "history runs",
        "history unit",
        "history readings: a list",
        "history readings: values",
        "history check",
        "capability",
        "line drift",
        "yield",
        "bonds",
        "packages",
        "scan: a device",
        "scan --reports: a report",
        "inspect",
        "write: done",
        "exchange: done",
        "draft",
        "twin",
        "escapes",
        "twin --of",
        "rejudge",
    }
    rows = {row.replace("`", "") for row in ROWS}
    assert {row for row in rows if row.partition(":")[0] not in ("watch", "watch --counter", "session")} == {
        *SIMPLE,
        *apart,
    }


def test_the_shape_of_a_content() -> None:
    told = [words(row["key of a content"])[0] for row in SECTION.table("key of a content")]
    assert told == [field.name for field in msgspec.structs.fields(Content)]
