"""The two schemas of JUnit XML: junit-10.xsd from the pytest 9.2.0 sdist (Jenkins xUnit plugin, MIT), ant.xsd by us."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from lxml import etree


@cache
def _schema(dialect: str) -> etree.XMLSchema:
    name = {"junit-10": "junit-10.xsd", "ant": "ant.xsd"}[dialect]
    return etree.XMLSchema(etree.parse(str(Path(__file__).with_name(name))))


def errors(document: bytes, dialect: str) -> list[str]:
    """What the schema of the dialect says against the document."""
    schema = _schema(dialect)
    schema.validate(etree.fromstring(document))
    return [str(error) for error in schema.error_log]
