"""The reference of the plan language against the code: every key, every reading, every table, every example."""

import asyncio
import dataclasses
import math
import random
import re
import sys
import textwrap
import typing
from typing import get_args

import msgspec
import pytest

from benchrig.cli import groups
from benchrig.desk.findings import families
from benchrig.errors import Cause
from benchrig.plan.including import KEYS as INCLUDE_KEYS
from benchrig.plan.including import MAX_INCLUDES
from benchrig.plan.limit_choice import title_of
from benchrig.plan.limit_sets import LimitSetFile
from benchrig.plan.lists import MAX_STEPS
from benchrig.plan.loader import load_plan
from benchrig.plan.model import PlanFile, StepsFile
from benchrig.plan.own_names import SharedNames
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.radio.virtual.air_spec import AIRS, ConditionsSpec
from benchrig.radio.virtual.behaviour import When, key_of
from benchrig.radio.virtual.behaviours import BEHAVIOURS
from benchrig.radio.virtual.block import Block, keys_of
from benchrig.radio.virtual.conditions import PROFILES
from benchrig.radio.virtual.device_file import load_devices
from benchrig.radio.virtual.device_spec import AirSpec, DeviceSpec, FaultSpec
from benchrig.radio.virtual.reaction_spec import ReadSpec, RequestSpec, SendSpec, WriteSpec
from benchrig.radio.virtual.value_reading import source_of
from benchrig.radio.virtual.weakness_spec import Against, Does
from benchrig.requests.drawing import KINDS as KINDS_OF_REQUESTS
from benchrig.requests.wording import VERBS
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings
from benchrig.run.outcome import Exit
from benchrig.run.runner import Runner
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from benchrig.source.yaml import MAX_BYTES, MAX_DEPTH, Refused, plain_scalar
from benchrig.station.station import Station, load_station
from benchrig.steps import KINDS
from benchrig.steps.access_matrix import Matrix
from benchrig.steps.answers import Answers, Last
from benchrig.steps.attribute import AttributeSpec, Names
from benchrig.steps.composite import StepList
from benchrig.steps.discover import PROPERTIES
from benchrig.steps.loss import LOSS
from benchrig.steps.pairing_keys import PairAs
from benchrig.steps.repeat import Times
from benchrig.steps.sequential import SequentialTest
from benchrig.steps.size import Size
from benchrig.steps.waiting import Polling, Waiting
from benchrig.values import catalogue
from benchrig.values.access import NEEDS, OPERATIONS
from benchrig.values.assigned import assigned
from benchrig.values.crc import Crc
from benchrig.values.format import FormatSpec, build_format, format_names
from benchrig.values.limit import Limit, Regex
from benchrig.values.limit_keys import Bits, Length
from benchrig.values.quantity import Quantity
from benchrig.values.share import Share
from benchrig.values.spec import BitPart
from benchrig.values.units import BASE, symbols_of
from tests.reference import (
    EXAMPLES,
    FIRST,
    LOGGER,
    PAGES,
    SECTIONS,
    TESTPLANS,
    anchor,
    contents,
    dead_links,
    of_kind,
    sections,
    words,
)
from tests.reference import KINDS as BLOCKS

# Where the keys of each model stand; those of a base class stand in the section of the base.
SECTION_OF = {
    "PlanFile": "The top of a plan",
    "StepsFile": "A file of steps",
    "Device": "The device",
    "Select": "Selecting the unit",
    "Manufacturer": "Manufacturer data in a selection",
    "AttributeSpec": "Names of attributes",
    "SharedNames": "Shared names",
    "LimitSetFile": "A limit set",
    "Given": "Given values",
    "RandomValue": "Random values",
    "FormatSpec": "Formats",
    "FieldSpec": "Fields",
    "BitPart": "Bits of a number",
    "Limit": "Limits",
    "ReadingLimit": "Limits for some runs",
    "ConfidentLimit": "Statistical limits",
    "GuardedLimit": "Guard bands",
    "Guard": "Keys of a guard band",
    "SequentialTest": "A sequential test",
    "Bits": "Bits in a limit",
    "Step": "Keys of every step",
    "Waiting": "Waiting for a state",
    "Polling": "Asking again",
    "Answers": "Several answers",
    "Heard": "A stream",
    "Reaction": "Reactions to a step",
    "Last": "The last answer",
    "OutOfBand": "Out of band data",
    "Levels": "Levels of an access step",
    "Composite": "Steps with steps in them",
    "Station": "Station files",
    "PowerCommands": "Switching the power",
    "FixtureSpec": "The fixture",
    "RadioSpec": "Radios of a line",
    "SlotSpec": "Slots",
    "Product": "Products",
    "AddressRange": "Addresses of a product",
    "Retests": "Retests",
    "Stops": "When the line stops",
    "Proving": "Which unit is in which slot",
    "Reference": "Units that check the station",
    "Told": "Who is told of a verdict",
    "Rehearsal": "A rehearsal",
    "DeviceSpec": "One device",
    "AirSpec": "Several devices",
    "ConditionsSpec": "Air",
    "RssiSpec": "Level",
    "AdvertisingSpec": "Advertising",
    "DirectedSpec": "Directed advertising",
    "PrivacySpec": "Private addresses",
    "CounterSpec": "Advertised counters",
    "DataSpec": "Advertised data",
    "ManufacturerSpec": "Advertised manufacturer data",
    "ServiceSpec": "Services",
    "CharacteristicSpec": "Characteristics",
    "NotifySpec": "Notifying",
    "DistortionSpec": "Distorted values",
    "DescriptorSpec": "Descriptors",
    "SecuritySpec": "Pairing with a device",
    "OutOfBandSpec": "Out of band data of a device",
    "SecurityFaultSpec": "Faults of security",
    "WriteSpec": "Writes",
    "DoingSpec": "What an occasion sets off",
    "MatchSpec": "Conditions of an occasion",
    "CaseSpec": "Cases of a write",
    "UnaskedSpec": "Unasked actions",
    "OccasionSpec": "Occasions",
    "WeaknessSpec": "Weaknesses",
    "OthersSpec": "Others",
    "SpreadSpec": "Spread",
    "ValueSpreadSpec": "Spread of values",
    "NumberedSpec": "Numbered names",
} | {kind.__name__: verb for verb, kind in KINDS.items()}
ROOTS = [
    PlanFile,
    StepsFile,
    SharedNames,
    LimitSetFile,
    Station,
    DeviceSpec,
    AirSpec,
    ConditionsSpec,
    BitPart,
    Bits,
    *KINDS.values(),
]


def reachable(roots):
    """The models that files are read into, found through the types of their fields."""
    found, todo = [], [*roots]
    while todo:
        kind = todo.pop()
        if not (isinstance(kind, type) and issubclass(kind, msgspec.Struct)):
            todo += get_args(kind)
        elif kind not in found:
            found.append(kind)
            todo += [hint for name, hint in typing.get_type_hints(kind).items() if name != "behaviours"]
            todo += [base for base in kind.__bases__ if getattr(base, "__struct_fields__", ())]
    return found


def own_fields(model):
    """Its fields without those of the base class that has a section of its own."""
    inherited = {name for base in model.__bases__ for name in getattr(base, "__struct_fields__", ())}
    return [f for f in msgspec.structs.fields(model) if f.name not in inherited and f.name != "behaviours"]


def default_text(one):
    """The default as the reference writes it."""
    default = one.default_factory() if one.default_factory is not msgspec.NODEFAULT else one.default
    if default is msgspec.NODEFAULT:
        return "–" if one.type is type(None) else "required"
    if isinstance(default, bool):
        return str(default).lower()
    return str(default) if isinstance(default, (int, str, Quantity)) and default != "" else "–"


def same_rows(listed, expected, where):
    """One row each, in this order; what is missing is said."""
    listed, expected = [*listed], [*expected]
    missing, strange = (
        [f"'{row}'" for row in one if row not in other] for one, other in ((expected, listed), (listed, expected))
    )
    assert not missing, f"add {', '.join(missing)} to {where}"
    assert not strange, f"take {', '.join(strange)} out of {where}"
    assert listed == expected, f"put {where} into this order: {', '.join(expected)}"


def same_defaults(listed, expected, title):
    missing, strange = sorted(expected.keys() - listed.keys()), sorted(listed.keys() - expected.keys())
    assert not missing, f"add a row {', '.join(missing)} under {title}"
    assert not strange, f"take the row {', '.join(strange)} out under {title}"
    wrong = [f"{key}: {default}" for key, default in expected.items() if listed[key] != default]
    assert not wrong, f"mend the default under {title}: {', '.join(wrong)}"


# DiscoverExpect holds readings, and blocks of behaviours may hold these alone: they have tables of their own.
ALL_MODELS = [model for model in reachable(ROOTS) if model.__name__ != "DiscoverExpect"
              and (own_fields(model) or not issubclass(model, Block))]  # fmt: skip


@pytest.mark.parametrize("model", ALL_MODELS, ids=lambda model: model.__name__)
def test_every_key_stands_in_its_section_with_its_default(model):
    title = SECTION_OF[model.__name__]
    assert title in SECTIONS, f"add a section {title} to a page of testplans/reference/"
    rows = SECTIONS[title].table("key")
    listed = {words(row["key"])[0]: row["default"] for row in rows}
    same_defaults(listed, {one.encode_name: default_text(one) for one in own_fields(model)}, title)


HAPPENS = [("Reactions", [ReadSpec, WriteSpec]), ("Faults", [FaultSpec]), ("Requests", [RequestSpec]),
           ("What becomes of notifications", [SendSpec])]  # fmt: skip


@pytest.mark.parametrize(("section", "blocks"), HAPPENS)
def test_every_behaviour_stands_in_its_section_with_its_default(section, blocks):
    keys = {key_of(kind)[0] for kind in BEHAVIOURS for block in blocks if kind.on & block.occasions}
    written = {one.name: default_text(one) for block in blocks for one in msgspec.structs.fields(keys_of(block))}
    listed = {words(row["key"])[0]: row["default"] for row in SECTIONS[section].table("key")}
    same_defaults(listed, {key: written[key] for key in keys}, section)


def test_what_says_at_which_times_stands_in_its_section():
    listed = {words(row["key"])[0]: row["default"] for row in SECTIONS["At some times"].table("key")}
    same_defaults(listed, {one.encode_name: default_text(one) for one in msgspec.structs.fields(When)}, "At some times")


@pytest.mark.parametrize("name", PROFILES)
def test_the_numbers_of_an_air(name):
    given = {words(row["key"])[0]: row[name] for row in SECTIONS["Air"].table("key") if row[name] not in ("", "–")}
    read = msgspec.structs.asdict(ConditionsSpec())
    for key, field in ((f.name, f.type) for f in msgspec.structs.fields(ConditionsSpec) if f.name in given):
        own = [kind for kind in get_args(field) if hasattr(kind, "from_source")]
        read[key] = own[0].from_source(given[key]) if own else float(given[key])
    assert ConditionsSpec(**read).conditions() == dataclasses.replace(PROFILES[name], name="rough, changed")


def test_the_names_of_airs():
    assert [words(row["name"])[0] for row in SECTIONS["Air"].table("name")] == [*AIRS] == [*groups.AIRS]


def test_the_keys_of_use():
    same_rows([words(row["key"])[0] for row in SECTIONS["Shared steps"].table("key")], INCLUDE_KEYS, "Shared steps")


SEQUENTIAL = SequentialTest(Share(5, "%"), Share(20, "%"), Share(5, "%"), Share(10, "%"))
UNTIL = {"value": Limit(min="5 °C")}
# A step of each kind that has all the readings its kind can have.
STEPS = {
    "scan": {"scan": None},
    "connect": {"connect": None},
    "discover": {"discover": None},
    "read": {"read": "temperature", "until": UNTIL},
    "write": {"write": "humidity", "file": "image.bin", "pieces": Size(20), "read_back": True},
    "notify": {"notify": "temperature", "until": UNTIL},
    "exchange": {"exchange": "humidity", "value": "5 %", "until": UNTIL, "answers": Answers(Last(count=2), 1, 0)},
    "disconnect": {"disconnect": None},
    "wait": {"wait": None},
    "ask": {"ask": ""},
    "command": {"command": ["true"]},
    "console": {"console": None, "until": {"line": Limit(contains="a")}},
    "power": {"power": "up"},
    "group": {"group": "settings", "steps": StepList()},
    "listen": {"listen": {}, "steps": StepList()},
    "reboot": {"reboot": None, "steps": StepList()},
    "repeat": {"repeat": Times(3), "steps": StepList(), "sequential": SEQUENTIAL},
    "pair": {"pair": PairAs("none")},
    "encrypt": {"encrypt": None},
    "unpair": {"unpair": None},
    "access": {"access": Matrix({"temperature": {"read": "open"}})},
    "privacy": {"privacy": None},
    "robust": {"robust": 100},
}


@pytest.mark.parametrize("verb", STEPS)
def test_every_reading_stands_in_the_section_of_its_step(verb):
    kind = KINDS[verb]
    readings = dict(kind(**STEPS[verb]).readings(Names()))
    if kind.may_lose:
        assert readings.keys() >= LOSS.keys()
        readings = {name: each for name, each in readings.items() if name not in LOSS}
    rows = SECTIONS[verb].table("reading")
    listed = {words(row["reading"])[0]: row["kind"] for row in rows}
    expected = {name: kind.unit or kind.kind for name, kind in readings.items()}
    expected |= {"value": "of the format"} if "value" in expected else {}
    missing = sorted(expected.keys() - listed.keys())
    assert not missing, f"add a row {', '.join(missing)} to the readings under {verb}"
    assert listed == expected


def test_the_readings_of_a_link_that_must_end():
    section = SECTIONS["A link that must end"]
    listed = {words(row["reading"])[0]: row["kind"] for row in section.table("reading")}
    assert listed == {name: kind.unit or kind.kind for name, kind in LOSS.items()}
    [named] = re.findall(r"The steps (.+?) have\s+these", section.text)
    assert {*words(named)} == {verb for verb, kind in KINDS.items() if kind.may_lose}


@pytest.mark.parametrize(("section", "base"), [("Waiting for a state", Waiting), ("Asking again", Polling)])
def test_the_steps_that_wait_for_a_state_are_named(section, base):
    said, _, _ = SECTIONS[section].text.partition("\n|")
    verbs = {verb for verb, kind in KINDS.items() if issubclass(kind, base)}
    named = {*re.findall(r"[`\[](\w+)[`\]]", said)} & KINDS.keys()
    assert not verbs - named, f"name {', '.join(sorted(verbs - named))} before the table under {section}"
    assert not named - verbs, f"{', '.join(sorted(named - verbs))} under {section} does not do that"


# Their readings are what a plan or its code calls them.
NAMED_BY_THE_PLAN = {"call", "compute"}


def test_every_step_kind_is_in_the_reference():
    unwritten = KINDS.keys() - {*STEPS, *NAMED_BY_THE_PLAN}
    assert not unwritten, f"add to STEPS above a step with all the readings of its kind: {unwritten}"
    gone = {*STEPS, *NAMED_BY_THE_PLAN} - KINDS.keys()
    assert not gone, f"take out what is no kind of step: {gone}"
    missing = sorted(KINDS.keys() - {*words(SECTIONS["Steps"].text)})
    assert not missing, f"add a row for {', '.join(missing)} under Steps"
    for verb in KINDS:
        page = SECTIONS[verb].page
        assert f"{page}{anchor(verb)}" in contents(PAGES[FIRST]), f"no link to {verb} under Contents of {FIRST}"
        assert anchor(verb) in contents(PAGES[page]), f"no link to {verb} under Contents of {page}"
        assert [e for e in of_kind("step") if e.section == verb], f"no example of {verb}"


def test_deadlines_of_the_steps():
    listed = {words(row["step"])[0]: row["deadline without `within`"] for row in SECTIONS["Time"].table("step")}
    missing = sorted(KINDS.keys() - listed.keys())
    assert not missing, f"add a row for {', '.join(missing)} under Time"
    assert listed.keys() == KINDS.keys()
    for verb, text in listed.items():
        kind = KINDS[verb]
        own = "none" if math.isinf(kind.within_default) else f"{kind.within_default:g} s"
        assert verb == "wait" or own in text
        if "deadline" not in vars(kind):
            assert text == (f"{own} × `attempts`" if kind.tries_again else own)


# --- tables


def test_units():
    listed = {row["dimension"]: row["units"].split(", ") for row in SECTIONS["Units"].table("dimension")}
    same_rows(listed, BASE, "the table under Units")
    for dimension, symbols in listed.items():
        same_rows(symbols, symbols_of(dimension), f"the row {dimension} under Units")


def test_formats_by_name():
    rows = SECTIONS["Formats"].table("format")
    same_rows(sorted(words(row["format"])[0] for row in rows), sorted(format_names()), "the table under Formats")


def test_sizes_of_the_formats():
    for row in SECTIONS["Formats"].table("format"):
        size = Names({"a": AttributeSpec(handle=1, as_=words(row["format"])[0])}).meaning("a").format.size
        assert row["bytes"] == ("any" if size is None else str(size))


def test_keys_of_the_formats():
    rows = {words(row["format"])[0]: row["keys beside `as`"] for row in SECTIONS["Formats"].table("format")}
    for name in rows:
        for key, value in FORMAT_KEYS.items():
            spec = FormatSpec(as_=name, **{key: value})
            applies = not any("does not apply" in m.message or "bits need" in m.message for m in spec.misfits())
            assert applies is (key in said_keys(rows, name)), f"{name} and {key}"


FORMAT_KEYS = {"scale": 1, "offset": 0, "unit": "m", "order": "big", "length": 2, "part": Regex(r"(?P<n>\d+)"), "valid_min": 0, "valid_max": 1,
               "words": {1: "one"}, "only_words": True, "bits": {"a": BitPart(1)}, "rfu": 1}  # fmt: skip


def said_keys(rows, name):
    """The keys of a row, those of the row it refers to included."""
    own = set(words(rows[name]))
    if not rows[name].startswith("as `"):
        return own
    _, other, *but = words("`as`" + rows[name])
    return said_keys(rows, other) - set(but)


def test_built_in_formats():
    tables = (assigned().characteristics, assigned().descriptors)
    known = {name: catalogue.definition(int(uuid, 16)) for table in tables for uuid, name in table.items()}
    listed = {row["name"]: row["reads as"] for row in SECTIONS["Formats that are built in"].table("name")}
    assert listed == {name: form.describe() for name, form in known.items() if form}


SAMPLES = {
    "equals": {"equals": 1}, "differs": {"differs": 1}, "min": {"min": 1}, "above": {"above": 1}, "max": {"max": 1},
    "below": {"below": 1}, "nominal": {"nominal": 1, "tolerance": 1}, "one_of": {"one_of": [1]},
    "matches": {"matches": Regex("a")}, "contains": {"contains": "00"}, "lacks": {"lacks": "00"},
    "bits": {"bits": Bits(1, 1)}, "crc": {"crc": Crc.from_source("CRC-8/SMBUS")}, "length": {"length": Length(1, 1)},
    "rising": {"rising": True},
}  # fmt: skip


def test_which_limits_apply_to_which_readings():
    same_rows(SAMPLES, [key for key in Limit.words() if key != "tolerance"], "SAMPLES of this file")
    rows = SECTIONS["Limits"].table("limit")
    same_rows([words(row["limit"])[0] for row in rows], SAMPLES, "the second table of limits.md")
    for row in rows:
        limit = Limit(**SAMPLES[words(row["limit"])[0]])
        for kind in ("number", "text", "time", "bytes", "boolean", "list"):
            applies = not any("does not apply" in misfit.message for misfit in limit.misfits_for(kind))
            assert applies is (row[kind] == "✓"), f"{row['limit']} of {kind}"


def test_text_that_is_refused_without_quotes():
    for row in SECTIONS["Rules for text"].table("text"):
        for text in words(row["text"]):
            assert isinstance(plain_scalar(text), Refused), text


def test_sizes_of_files():
    assert f"{MAX_BYTES // 1024} KiB, {MAX_DEPTH} levels" in SECTIONS["Rules for text"].text
    assert f"at most {MAX_STEPS} steps" in SECTIONS["Rules for text"].text
    assert f"{MAX_INCLUDES} files are\nincluded, {MAX_DEPTH} within" in SECTIONS["Shared steps"].text


def test_properties():
    assert set(words(SECTIONS["discover"].text)) >= set(PROPERTIES)


def test_causes():
    listed = [words(row["cause"])[0] for row in SECTIONS["Verdicts and causes"].table("cause")]
    same_rows(listed, get_args(Cause), "the table under Verdicts and causes")


def test_rules_of_the_findings():
    rules = [(rule.name, rule.severity, rule.source, rule.meaning) for family in families() for rule in family.rules]
    rows = SECTIONS["Findings of an inspection"].table("rule")
    same_rows([words(row["rule"])[0] for row in rows], [name for name, *_ in rules], "Findings of an inspection")
    assert [(words(row["rule"])[0], row["severity"], row["source"], row["meaning"]) for row in rows] == rules
    assert len({name for name, *_ in rules}) == len(rules)


def test_exit_codes():
    listed = [row["code"] for row in SECTIONS["Exit codes"].table("code")]
    same_rows(listed, [str(int(code)) for code in Exit], "the table under Exit codes")


GENERATORS = {
    "constant": 5,
    "ramp": {"from": 1, "to": 9, "over": "60 s"},
    "noise": {"mean": 5, "sd": 1},
    "counter": {"start": 0, "step": 1, "modulo": 10},
    "sequence": [1, 2],
    "states": [{"value": 1, "for": "3 s"}, {"value": 2}],
    "random": {"bytes": 8},
    "clock": {"start": "5 s"},
}


def test_values_that_change():
    number, octets = (build_format(FormatSpec(as_=name)) for name in ("uint8", "hex"))
    seconds = build_format(FormatSpec(as_="uint32", unit="s"))
    rows = SECTIONS["Values that change"].table("word")
    same_rows([words(row["word"])[0] for row in rows], GENERATORS, "the table under Values that change")
    for row in rows:
        arguments = GENERATORS[words(row["word"])[0]]
        assert words(row["with"]) == ([*arguments] if isinstance(arguments, dict) else [])
        form = {"random": octets, "clock": seconds}.get(words(row["word"])[0], number)
        assert source_of({words(row["word"])[0]: arguments}, form).take(0.0, random.Random(1))


@pytest.mark.parametrize(
    ("section", "column", "known"),
    [
        ("robust", "kind", KINDS_OF_REQUESTS),
        ("Requests as text", "request", VERBS),
        ("Weaknesses", "against", get_args(Against)),
        ("Weaknesses", "does", get_args(Does)),
        ("access", "need", NEEDS),
        ("access", "operation", OPERATIONS),
    ],
)
def test_the_words_of_a_table(section, column, known):
    listed = [words(row[column])[0] for row in SECTIONS[section].table(column)]
    same_rows(listed, [*known], f"the table of {column} under {section}")


# --- pages


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_to_sections(page):
    assert dead_links(TESTPLANS / page) == []


def test_links_that_lead_nowhere_are_found(tmp_path):
    (tmp_path / "b.md").write_text("# B\n## With two: words\n```sh\n# no heading\n```\n", "utf-8")
    page = tmp_path / "a.md"
    page.write_text(
        "# A\n[1](#a) [2](b.md) [3](b.md#with-two-words) [4](https://example.org/x#y)\n"
        "[5](#b) [6](c.md) [7](b.md#a) [8](b.md#no-heading) [9](c.md#c)\n",
        "utf-8",
    )
    assert dead_links(page) == ["#b", "c.md", "b.md#a", "b.md#no-heading", "c.md#c"]


OTHERS = [page for page in PAGES if page != FIRST]


def test_the_first_page_leads_to_every_page():
    assert OTHERS, "there are pages in testplans/reference/"
    linked = {target.partition("#")[0] for target in contents(PAGES[FIRST])}
    assert linked == {*OTHERS}, f"Contents of {FIRST}"


@pytest.mark.parametrize("page", OTHERS)
def test_a_page_says_what_it_is_and_leads_back(page):
    head = re.match(r"# .+\n\n((?:\S.*\n)+)\n", PAGES[page])
    assert head, "a title, then a sentence"
    assert f"](../{FIRST})" in head[1]


@pytest.mark.parametrize("page", OTHERS)
def test_a_long_page_lists_its_sections(page):
    _, *titles = sections(PAGES[page])
    if PAGES[page].count("\n") > 150 or contents(PAGES[page]):
        listed, due = contents(PAGES[page]), [anchor(title) for title in titles]
        missing = [link for link in due if link not in listed]
        assert not missing, f"add to Contents of {page}: {', '.join(missing)}"
        assert listed == due, f"Contents of {page} has to be in the order of the headings"


# --- examples


def test_every_block_says_what_it_is():
    strays = [
        example.info for example in EXAMPLES if example.kind not in (*BLOCKS, "python", "test", "sh", "json", "ini")
    ]
    assert not strays
    assert {example.kind for example in EXAMPLES} >= {*BLOCKS}


@pytest.fixture
def bench(tmp_path):
    """A folder with the files that the examples share."""
    for example in of_kind("part", "python"):
        (tmp_path / example.file).write_text(example.text, "utf-8")
    return tmp_path


def write(folder, name, text):
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def run(plan_file, device_file, *, acknowledged=False):
    """The exit code of a run on simulated devices, and its events."""
    choice = RadioChoice("virtual", files=(device_file,))
    plan = load_plan(plan_file, {})
    events = []
    settings = RunSettings(load_station(None), str(choice), True, plan_file.parent, 1, acknowledged)
    opener = radio_opener(choice, seed=1)
    runner = Runner(plan, choose_steps(plan), settings, opener, Unattended(), events.append)
    strays = []
    with asyncio.Runner(loop_factory=loop_factory(choice)) as loop:
        loop.get_loop().set_exception_handler(lambda _, context: strays.append(context))
        code = loop.run(runner.run()).exit_code
    assert not strays
    return code, events


def indented(text, by):
    return textwrap.indent(text, " " * by)


ATTRIBUTES = "".join(example.text for example in of_kind("attributes"))


def plan_of(steps):
    """A plan with these steps and all the names of the reference that they use."""
    first = re.match(r"- (\w+)", steps)[1]
    before = (
        "" if first in ("scan", "connect") else "  - {scan: , name: find it}\n  - {connect: , name: connect to it}\n"
    )
    head = "plan: example\ncaution: the unit may suffer\ndevice:\n  select: {name: VFL-*}\n  attributes:\n"
    return head + indented(ATTRIBUTES, 4) + "steps:\n" + before + indented(steps, 2)


def check_exit(example, code, events):
    said = [f"{event.verdict} {event.message}" for event in events if hasattr(event, "verdict")]
    assert code == example.exit_code, "\n".join(said)


@pytest.mark.parametrize("example", of_kind("plan"), ids=str)
def test_plans_run(example, bench):
    device = write(bench, "device.yaml", example.device.text) if example.device else LOGGER
    plan = write(bench, "plan.yaml", example.text)
    check_exit(example, *run(plan, device, acknowledged=example.said == "acknowledge"))


@pytest.mark.parametrize("example", of_kind("step"), ids=str)
def test_steps_run(example, bench, monkeypatch):
    monkeypatch.setattr("sys.path", [*sys.path])  # a call step adds to it
    plan = write(bench, "plan.yaml", plan_of(example.text))
    check_exit(example, *run(plan, LOGGER, acknowledged=True))


@pytest.mark.parametrize("example", of_kind("select"), ids=str)
def test_selections_find_the_logger(example, bench):
    plan = f"plan: example\ndevice:\n  select:\n{indented(example.text, 4)}steps:\n  - scan:\n    expect: {{count: {{min: 1}}}}\n"
    check_exit(example, *run(write(bench, "plan.yaml", plan), LOGGER))


@pytest.mark.parametrize("example", of_kind("device"), ids=str)
def test_device_files_load(example, bench):
    problems = Problems()
    load_devices([write(bench, "device.yaml", example.text)], problems)
    problems.raise_if_any()


@pytest.mark.parametrize("example", of_kind("limits"), ids=str)
def test_limit_sets_fit_their_plan(example, bench):
    plans = {title_of(path): path for path in TESTPLANS.glob("*.yaml")}
    limits = write(bench, "limits.yaml", example.text)
    assert load_plan(plans[title_of(limits)], {}, limits=limits).limit_set


@pytest.mark.parametrize("example", of_kind("station"), ids=str)
def test_station_files_load(example, bench):
    assert load_station(write(bench, "station.yaml", example.text)).station


def test_a_caution_stops_a_run_with_nobody_there(bench):
    example = next(example for example in of_kind("plan") if example.said == "acknowledge")
    code, events = run(write(bench, "plan.yaml", example.text), LOGGER)
    assert (code, [e.verdict for e in events if hasattr(e, "root")]) == (2, [*["skip"] * 4, "error"])
