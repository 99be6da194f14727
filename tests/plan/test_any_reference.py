"""A reference in the place of any part of any step, known before the run, only in it or never: the plan loads, or what is
wrong is told at a place of it. Nothing else is ever raised."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from typing import Any

import pytest
import yaml

from benchrig.errors import PlanError
from benchrig.steps import KINDS
from tests.plan.building import plan_of
from tests.run.kit import HEAD
from tests.run.random_plans import NAMES

GIVEN = """given: {market: {one_of: [eu, us]}, one: {min: 0 s, max: 9 s}, word: {default: abc}, pin: {secret: true}}
variants: {market: {eu: {row: {max: 5 s}}, us: {row: {min: 1, max: 3}}}}
"""
LOSES = "lost_after: {max: 2 s}, lost_reason: {equals: connection timeout}"
ALL_KEYS = [
    "scan: \n  for: 3 s\n  mode: active\n  until: {rssi: {min: -60 dBm}}\n  expect: {heard: {equals: true}, found_after: {max: 1 s}, interval: {max: 2 s}, reached_after: {max: 1 s}}",
    "scan: \n  expect: {advertises_after: {min: 1 s}, count: {min: 1}}",
    "connect: \n  attempts: 3\n  within: 9 s\n  fresh: true\n  expect: {elapsed: {max: 5 s}, advertises_after: {max: 3 s}}",
    "discover: \n  expect: {table: {battery service: {battery level: [read]}}, services: {contains: [battery]}}",
    "read: battery level\n  until: {value: {min: 5 %}}\n  every: 1 s\n  within: 9 s\n  save: {value: seen}\n  expect: {value: {min: 1 %, max: 99 %, only_if: {word: {equals: abc}}}, reached_after: {min: 1 s}, tries: {max: 3}, att_error: {equals: none}, length: {equals: 1 bytes}}",
    f"write: supply\n  value: 2900 mV\n  response: true\n  read_back: true\n  expect: {{value: {{nominal: 2900 mV, tolerance: 1 %}}, {LOSES}, att_error: {{one_of: [none]}}}}",
    "write: log\n  file: image.bin\n  pieces: 20\n  expect: {throughput: {min: 1 kbit/s}}",
    "notify: log\n  for: 2 s\n  counter: value\n  mode: notification\n  expect: {lost: {max: 0}, rate: {min: 2 Hz}, value: {rising: true}, first_after: {max: 1 s}}",
    "notify: ambient\n  count: 5\n  within: 4 s\n  expect: {count: {min: 5, max: 9}, gap_max: {max: 2 s}}",
    "notify: log\n  until: {value: {min: 5}}\n  expect: {reached_after: {max: 3 s}, count: {max: 9}}",
    f"exchange: control\n  raw: '00'\n  reply: log\n  answers: {{last: {{starts_with: 'FE', shorter_than: payload}}, skip: 1, counter: 0, most: 20}}\n  until: {{value: {{contains: '00'}}}}\n  expect: {{value: {{crc: CRC-16/XMODEM, length: {{min: 1, max: 9}}}}, response_time: {{max: 3 s}}, {LOSES}}}",
    f"wait: 5 s\n  expect: {{elapsed: {{max: 2 s}}, {LOSES}}}",
    f"ask: colour\n  kind: number\n  unit: V\n  about: fixture\n  given: word\n  expect: {{answer: {{min: 3 V}}, {LOSES}}}",
    "ask: colour\n  kind: choice\n  options: [red, blue]\n  expect: {answer: {equals: red}}",
    f"command: ['true', a]\n  expect: {{exit_code: {{equals: 0}}, {LOSES}}}",
    f"call: own:thing\n  with: {{a: 1}}\n  expect: {{value: {{min: 3 V}}, {LOSES}}}",
    "compute: {x: '1 + 1'}\n  expect: {x: {min: 1}}",
    f"console: \n  send: status\n  until: {{line: {{matches: 'state=(?P<state>.*) at (?P<u>.*)'}}}}\n  expect: {{state: {{equals: ok}}, u: {{min: 3 V}}, reached_after: {{max: 1 s}}, count: {{max: 3}}, {LOSES}}}",
    "power: cycle\n  expect: {elapsed: {max: 3 s}}",
    "listen: {log: {counter: value, mode: notification}, ambient: , console: {matches: 'a(?P<u>.*)'}}\n  steps: [{wait: 2 s, name: w}]\n  reactions: {boost: {after: w, until: {log.value: {min: 3}}}}\n  expect: {log.lost: {max: 0}, ambient.count: {max: 5}, console.u: {min: 3 V}, boost: {max: 1 s}, failed: {max: 1}, w.elapsed: {max: 1 s}}",
    "group: all\n  first: [{wait: 1 s}]\n  steps: [{read: battery level, name: r}]\n  only_if: {word: {equals: abc}}\n  expect: {elapsed: {max: 3 s}, failed: {max: 1}, r.value: {min: 3 %}}",
    "repeat: {lvl: [1, 2]}\n  every: 1 s\n  stop_when: {failed: {min: 3}, r.value: {max: 3 %}}\n  steps: [{read: battery level, name: r}]\n  expect: {rounds: {min: 1}, passed: {min: 1}, r.value.p95: {max: 9 %}, r.value: {min: 3 %}, elapsed: {max: 9 s}}",
    "reboot: \n  within: 15 s\n  steps: [{write: restart, value: 1}]\n  expect: {advertises_after: {min: 300 ms}, connected_after: {max: 9 s}, lost_after: {max: 3 s}, lost_reason: {equals: connection timeout}}",
    "pair: keyboard\n  mitm: true\n  pairing: legacy\n  bonding: true\n  key_size: 16\n  passkey: '123456'\n  within: 50 s\n  expect: {elapsed: {max: 5 s}, failure: {one_of: [none, timeout]}, method: {equals: passkey}, key_size: {min: 7}, bonded: {equals: true}}",
    "pair: yes/no\n  number: '${code}'\n  steps: [{console: , until: {line: {matches: '(?P<code>.*)'}}, save: {code: code}}]\n  expect: {authenticated: {equals: true}}",
    "pair: none\n  out_of_band: {random: 00112233445566778899AABBCCDDEEFF, confirm: 00112233445566778899AABBCCDDEEFF}\n  expect: {secure_connections: {equals: true}}",
    "encrypt: \n  expect: {failure: {equals: none}, elapsed: {max: 2 s}}",
    "unpair: \n  bonding: true\n  passkey: '123456'\n  number: accept\n  steps: [{wait: 1 s}]\n  numbers: [{wait: 1 s}]\n  clear: [{wait: 1 s}]\n  expect: {old_key: {equals: no key}, pairs_again: {equals: true}}",
    "access: {battery level: {read: encrypted, subscribe: never}, key: {write: encrypted}, others: {read: any, key_size: 16}}\n  levels: {encrypted: {pair: none}, secure connections: {pair: keyboard, passkey: '123456'}, short key: {pair: none, key_size: 7}}\n  writes: [key]\n  changes: {key: 7}\n  strict: false\n  expect: {differences: {max: 0}, found: {equals: []}}",
    "robust: 500\n  only: [lengths]\n  without: [mtu]\n  seed: 7\n  protect: [control]\n  writes: [key]\n  answers_within: 2 s\n  expect: {died: {equals: false}, slowest: {max: 1 s}, tried.lengths: {min: 5}}",
    "robust: \n  requests: [mtu 23, read 0x0012]\n  returns_within: 9 s\n  expect: {killed_by: {length: 0}}",
    "disconnect: \n  expect: {elapsed: {max: 3 s}}",
    "robust: 6\n  only: [handles, uuids]\n  expect: {died: {equals: false}, wrong_answers: {equals: 0}, answered: {min: 4}}",
    "access: {ambient: {read: open, subscribe: encrypted, key_size: 16}, log: {write without response: encrypted}, others: {read: any}}\n  levels: {encrypted: {pair: none}, short key: {pair: keyboard, passkey: '123456', key_size: 7}}\n  writes: [log]\n  changes: {log: 5}\n  strict: false\n  expect: {differences: {equals: 0}, tried: {min: 3}, not_tried: {max: 9}, found: {equals: []}}",
    "privacy: 60 s\n  within: 70 s\n  expect: {rotates_after: {min: 5 s, max: 20 s}, resolves: {equals: true}, address_kinds: {equals: [public]}, constant: {equals: []}, continues: {length: 0}, addresses: {min: 2}, count: {min: 9}}",
]  # fmt: skip
REFERENCES = ["${word}", "${row}", "${nowhere}", "${market}", "${one - 1 s}", "a ${pin}"]


def places(part: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if path:
        yield path
    entries = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    for key, value in entries:
        yield from places(value, (*path, key))


def with_part(part: Any, path: tuple[Any, ...], value: str) -> Any:
    if not path:
        return value
    key, *rest = path
    changed = dict(part) if isinstance(part, dict) else [*part]
    changed[key] = with_part(part[key], tuple(rest), value)
    return changed


def plan_text(step: Any) -> str:
    return f"{HEAD}{NAMES}{GIVEN}caution: the unit may suffer\nsteps:\n  - scan:\n  - connect:\n  - {json.dumps(step, ensure_ascii=False)}\n"


def test_every_kind_of_step_is_tried() -> None:
    assert KINDS.keys() == {text.partition(":")[0] for text in ALL_KEYS}


# The market of the run, and how many of the references stand at each place: in short the next one at the next place.
@pytest.mark.parametrize(
    ("market", "count"), [(None, 1), *(pytest.param(each, 6, marks=pytest.mark.slow) for each in (None, "us", "uk"))]
)
@pytest.mark.parametrize("text", ALL_KEYS, ids=[f"{text.split(':')[0]}-{n}" for n, text in enumerate(ALL_KEYS)])
def test_a_reference_anywhere_is_loaded_or_told(text: str, market: str | None, count: int) -> None:
    step = yaml.safe_load(text.replace("\n  ", "\n"))
    references = itertools.cycle(REFERENCES)
    for path in places(step):
        for reference in itertools.islice(references, count):
            loads = _loads(plan_text(with_part(step, path, reference)), {"market": market} if market else None)
            assert not (loads and market == "uk"), "no row is called so"
            assert not (loads and "nowhere" in reference), (path, "nothing gives it a value")


def _loads(text: str, given: dict[str, str] | None) -> bool:
    """Whether it does; what is wrong with it is told."""
    try:
        plan_of(text, given)
    except PlanError as error:
        return not error.problems
    return True
