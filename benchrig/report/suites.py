"""JUnit documents of several runs in one: a suite each. Build servers follow suites by their names, so each has its own."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from benchrig.report.names import unused


def joined_suites(documents: Sequence[bytes]) -> bytes:
    """One document with all suites, each as it is alone; of one name the second and later ones get a number."""
    root, names = ET.Element("testsuites"), set[str]()
    for number, document in enumerate(documents):
        for suite in ET.fromstring(document).iter("testsuite"):
            _rename(suite, unused(suite.attrib["name"], names))
            if "id" in suite.attrib:
                suite.set("id", str(number))
            root.append(suite)
    ET.indent(root)
    data: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


def _rename(suite: ET.Element, name: str) -> None:
    """The classes of its cases begin with the name of the suite."""
    before = suite.attrib["name"]
    for case in suite.iter("testcase"):
        case.set("classname", name + case.attrib["classname"].removeprefix(before))
    for key in {"name", "package"} & suite.attrib.keys():
        suite.set(key, name)
