"""Rows of a question, many at once."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Select


def raw_rows(connection: Connection, question: Select[Any]) -> list[Any]:
    """The rows as the driver has them: for many of them half of the time."""
    result = connection.execute(question)
    rows = [*result.cursor.fetchall()] if result.cursor is not None else []
    result.close()
    return rows
