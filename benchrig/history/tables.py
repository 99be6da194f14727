"""The tables of a history.

What many runs share is kept once: `channels` says what was measured, `bounds` what it was held against. `readings` is
ordered by channel, then by run, so that one reading over all runs is read in one go. There are no foreign keys: there is one
writer at a time (`opening.py`), and what a check of each row costs is half of adding it.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
)
from sqlalchemy.sql.type_api import TypeEngine

metadata = MetaData()


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, server_default="")


def _maybe(name: str, kind: type[TypeEngine[Any]]) -> Column[Any]:
    return Column(name, kind)


# `run` is the number of a run in this history alone; `started` is in microseconds UTC since 1970. `digest` and `size` are those
# of record.jsonl; `duration` is in seconds. `host` is the computer that ran it, `kept_on` the one that has the folder: see `History.folder`.
# From `purpose` on: what the run was at a line, '' of one that was at none; `first_run` is the id of the unit's first run there.
runs = Table(
    "runs",
    metadata,
    Column("run", Integer, primary_key=True, autoincrement=False),
    Column("run_id", Text, nullable=False, unique=True),
    Column("digest", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    _text("folder"),
    _text("host"),
    _text("kept_on"),
    Column("started", BigInteger, nullable=False),
    Column("duration", Double, nullable=False),
    _text("plan"),
    _text("revision"),
    _text("plan_hash"),
    _text("limit_set"),
    _text("limit_set_version"),
    _text("limit_set_hash"),
    _text("benchrig"),
    _text("station"),
    _text("fixture"),
    _text("fixture_version"),
    _text("radio"),
    Column("simulated", Boolean, nullable=False),
    Column("left_out", Integer, nullable=False),
    _text("study"),
    _text("study_unit"),
    _text("study_appraiser"),
    _maybe("study_repeat", Integer),
    _text("unit"),
    _text("serial"),
    _text("given_serial"),
    _text("address"),
    _text("name"),
    _text("firmware"),
    _text("hardware"),
    _text("verdict"),
    _text("cause"),
    _maybe("exit_code", Integer),
    _text("root_step"),
    _text("root_reading"),
    _text("message"),
    Column("planned", Integer, nullable=False),
    Column("judged", Integer, nullable=False),
    Column("retries", Integer, nullable=False),
    Column("rounds_left", Integer, nullable=False),
    _text("purpose"),
    _text("product"),
    _text("slot"),
    _text("person"),
    _text("shift"),
    _text("proof"),
    _text("reference"),
    _text("first_run"),
    Column("again", Integer, nullable=False, server_default="0"),
    Index("runs_by_start", "started"),
    Index("runs_by_plan", "plan", "started"),
)


def _run() -> Column[int]:
    return Column("run", Integer, primary_key=True, autoincrement=False)


def _number(name: str) -> Column[int]:
    return Column(name, Integer, primary_key=True, autoincrement=False)


# All devices of a run, in the order in which they were seen; that with `n` 0 is the run's unit, and always there.
devices = Table(
    "devices",
    metadata,
    _run(),
    _number("n"),
    _text("device"),
    _text("serial"),
    _text("given_serial"),
    _text("address"),
    _text("address_type"),
    _text("name"),
    _text("firmware"),
    _text("hardware"),
    Index("devices_by_serial", "serial"),
    Index("devices_by_given_serial", "given_serial"),
    Index("devices_by_address", "address"),
    sqlite_with_rowid=False,
)

# Each execution of a step, in the order of the record; `elapsed` is in seconds.
steps = Table(
    "steps",
    metadata,
    _run(),
    _number("n"),
    _text("node"),
    _text("rounds"),
    _text("step"),
    _text("kind"),
    _text("device"),
    _text("verdict"),
    _text("cause"),
    _text("message"),
    Column("attempts", Integer, nullable=False),
    Column("elapsed", Double, nullable=False),
    sqlite_with_rowid=False,
)

# A reading of a step of a plan; `key` is all of it. `occurrence` tells steps of one name in a plan apart, from 1 on.
channels = Table(
    "channels",
    metadata,
    Column("channel", Integer, primary_key=True, autoincrement=False),
    Column("key", Text, nullable=False, unique=True),
    _text("plan"),
    _text("step"),
    Column("occurrence", Integer, nullable=False),
    _text("reading"),
    _text("measure"),
)

# What readings were held against. `low` and `high` are what was judged by, in the reading's unit of measure; the stated ones
# differ from them where a guard band draws them in. `words` is the whole limit.
bounds = Table(
    "bounds",
    metadata,
    Column("bound", Integer, primary_key=True, autoincrement=False),
    Column("key", Text, nullable=False, unique=True),
    _text("words"),
    _maybe("low", Double),
    _maybe("high", Double),
    _maybe("stated_low", Double),
    _maybe("stated_high", Double),
    _text("guard"),
)

# Every judged reading of the attempt that counts, also one in a round that is on record; `n` is its place among those of its
# run. `value` is a number, else `text` holds it; a stream has `samples`, and their least, greatest and mean.
readings = Table(
    "readings",
    metadata,
    Column("channel", Integer, primary_key=True, autoincrement=False),
    _run(),
    _number("n"),
    _maybe("value", Double),
    _maybe("text", Text),
    Column("bound", Integer, nullable=False),
    Column("passed", Boolean, nullable=False),
    _maybe("margin", Double),
    _maybe("samples", Integer),
    _maybe("minimum", Double),
    _maybe("maximum", Double),
    _maybe("mean", Double),
    Index("readings_by_run", "run"),
    sqlite_with_rowid=False,
)
