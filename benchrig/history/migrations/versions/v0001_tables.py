"""The tables of the first history."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    _bounds()
    _channels()
    _devices()
    _readings()
    _runs()
    _steps()


def _bounds() -> None:
    op.create_table(
        "bounds",
        sa.Column("bound", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("key", sa.Text(), nullable=False, unique=True),
        sa.Column("words", sa.Text(), nullable=False, server_default=""),
        sa.Column("low", sa.Double(), nullable=True),
        sa.Column("high", sa.Double(), nullable=True),
        sa.Column("stated_low", sa.Double(), nullable=True),
        sa.Column("stated_high", sa.Double(), nullable=True),
        sa.Column("guard", sa.Text(), nullable=False, server_default=""),
    )


def _channels() -> None:
    op.create_table(
        "channels",
        sa.Column("channel", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("key", sa.Text(), nullable=False, unique=True),
        sa.Column("plan", sa.Text(), nullable=False, server_default=""),
        sa.Column("step", sa.Text(), nullable=False, server_default=""),
        sa.Column("occurrence", sa.Integer(), nullable=False),
        sa.Column("reading", sa.Text(), nullable=False, server_default=""),
        sa.Column("measure", sa.Text(), nullable=False, server_default=""),
    )


def _devices() -> None:
    op.create_table(
        "devices",
        sa.Column("run", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("n", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("device", sa.Text(), nullable=False, server_default=""),
        sa.Column("serial", sa.Text(), nullable=False, server_default=""),
        sa.Column("given_serial", sa.Text(), nullable=False, server_default=""),
        sa.Column("address", sa.Text(), nullable=False, server_default=""),
        sa.Column("address_type", sa.Text(), nullable=False, server_default=""),
        sa.Column("name", sa.Text(), nullable=False, server_default=""),
        sa.Column("firmware", sa.Text(), nullable=False, server_default=""),
        sa.Column("hardware", sa.Text(), nullable=False, server_default=""),
        sqlite_with_rowid=False,
    )
    op.create_index("devices_by_address", "devices", ["address"])
    op.create_index("devices_by_given_serial", "devices", ["given_serial"])
    op.create_index("devices_by_serial", "devices", ["serial"])


def _readings() -> None:
    op.create_table(
        "readings",
        sa.Column("channel", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("run", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("n", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("bound", sa.Integer(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("margin", sa.Double(), nullable=True),
        sa.Column("samples", sa.Integer(), nullable=True),
        sa.Column("minimum", sa.Double(), nullable=True),
        sa.Column("maximum", sa.Double(), nullable=True),
        sa.Column("mean", sa.Double(), nullable=True),
        sqlite_with_rowid=False,
    )
    op.create_index("readings_by_run", "readings", ["run"])


def _runs() -> None:
    op.create_table(
        "runs",
        sa.Column("run", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("run_id", sa.Text(), nullable=False, unique=True),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False, server_default=""),
        sa.Column("host", sa.Text(), nullable=False, server_default=""),
        sa.Column("kept_on", sa.Text(), nullable=False, server_default=""),
        sa.Column("started", sa.BigInteger(), nullable=False),
        sa.Column("duration", sa.Double(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False, server_default=""),
        sa.Column("revision", sa.Text(), nullable=False, server_default=""),
        sa.Column("plan_hash", sa.Text(), nullable=False, server_default=""),
        sa.Column("limit_set", sa.Text(), nullable=False, server_default=""),
        sa.Column("limit_set_version", sa.Text(), nullable=False, server_default=""),
        sa.Column("limit_set_hash", sa.Text(), nullable=False, server_default=""),
        sa.Column("benchrig", sa.Text(), nullable=False, server_default=""),
        sa.Column("station", sa.Text(), nullable=False, server_default=""),
        sa.Column("fixture", sa.Text(), nullable=False, server_default=""),
        sa.Column("fixture_version", sa.Text(), nullable=False, server_default=""),
        sa.Column("radio", sa.Text(), nullable=False, server_default=""),
        sa.Column("simulated", sa.Boolean(), nullable=False),
        sa.Column("left_out", sa.Integer(), nullable=False),
        sa.Column("study", sa.Text(), nullable=False, server_default=""),
        sa.Column("study_unit", sa.Text(), nullable=False, server_default=""),
        sa.Column("study_appraiser", sa.Text(), nullable=False, server_default=""),
        sa.Column("study_repeat", sa.Integer(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False, server_default=""),
        sa.Column("serial", sa.Text(), nullable=False, server_default=""),
        sa.Column("given_serial", sa.Text(), nullable=False, server_default=""),
        sa.Column("address", sa.Text(), nullable=False, server_default=""),
        sa.Column("name", sa.Text(), nullable=False, server_default=""),
        sa.Column("firmware", sa.Text(), nullable=False, server_default=""),
        sa.Column("hardware", sa.Text(), nullable=False, server_default=""),
        sa.Column("verdict", sa.Text(), nullable=False, server_default=""),
        sa.Column("cause", sa.Text(), nullable=False, server_default=""),
        sa.Column("exit_code", sa.Integer(), nullable=True),
        sa.Column("root_step", sa.Text(), nullable=False, server_default=""),
        sa.Column("root_reading", sa.Text(), nullable=False, server_default=""),
        sa.Column("message", sa.Text(), nullable=False, server_default=""),
        sa.Column("planned", sa.Integer(), nullable=False),
        sa.Column("judged", sa.Integer(), nullable=False),
        sa.Column("retries", sa.Integer(), nullable=False),
        sa.Column("rounds_left", sa.Integer(), nullable=False),
    )
    op.create_index("runs_by_plan", "runs", ["plan", "started"])
    op.create_index("runs_by_start", "runs", ["started"])


def _steps() -> None:
    op.create_table(
        "steps",
        sa.Column("run", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("n", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("node", sa.Text(), nullable=False, server_default=""),
        sa.Column("rounds", sa.Text(), nullable=False, server_default=""),
        sa.Column("step", sa.Text(), nullable=False, server_default=""),
        sa.Column("kind", sa.Text(), nullable=False, server_default=""),
        sa.Column("device", sa.Text(), nullable=False, server_default=""),
        sa.Column("verdict", sa.Text(), nullable=False, server_default=""),
        sa.Column("cause", sa.Text(), nullable=False, server_default=""),
        sa.Column("message", sa.Text(), nullable=False, server_default=""),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("elapsed", sa.Double(), nullable=False),
        sqlite_with_rowid=False,
    )
