"""testplans/README.md taken apart: its sections, tables and examples.

An example is a fenced block. The first word after the fence is its language, the second says what it is:

    yaml plan           a whole plan; runs on the first `yaml device` block after it in the same section,
                        else on testplans/devices/logger.yaml
    yaml step           steps; run on that logger, with the names of all `yaml attributes` blocks, after a scan and a
                        connect unless they begin with one
    yaml select         the selection of a unit
    yaml attributes     names of attributes
    yaml device         a device file
    yaml station        a station file
    yaml part NAME      a file of steps, put beside every plan under this name
    python NAME         a file that is put beside every plan

A comment before the fence states the exit code of the run, `<!-- exit 1 -->` (default: 0), or that the caution
has been acknowledged, `<!-- acknowledge -->`.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path

TESTPLANS = Path(__file__).parent.parent / "testplans"
LOGGER = TESTPLANS / "devices" / "logger.yaml"
KINDS = ("plan", "step", "select", "attributes", "device", "station", "part")
_FENCE = re.compile(r"(?:<!-- (.*?) -->\n)?```([^\n]*)\n(.*?)```", re.DOTALL)


@dataclass
class Example:
    """One block. `line` is that of its first line of text."""

    info: str
    text: str
    said: str
    section: str
    line: int
    device: "Example | None" = None

    @property
    def kind(self):
        language, *rest = self.info.split()
        return rest[0] if language == "yaml" and rest else language

    @property
    def file(self):
        return self.info.split()[-1]

    @property
    def exit_code(self):
        return int(self.said.removeprefix("exit ")) if self.said.startswith("exit ") else 0

    def __str__(self):
        return f"{self.kind} in line {self.line}, {self.section}"


@dataclass
class Section:
    title: str
    text: str = ""
    tables: list[list[dict[str, str]]] = field(default_factory=list)

    def table(self, head):
        """Rows of the tables whose first column has this head."""
        return [row for table in self.tables for row in table if next(iter(row)) == head]


def sections(text):
    """By title. A section ends at the next heading of any level."""
    found, current = {}, None
    for line in re.sub(r"```.*?```", "", text, flags=re.DOTALL).splitlines():
        if line.startswith("#"):
            current = Section(line.lstrip("# "))
            assert current.title not in found, f"two sections are called {current.title}"
            found[current.title] = current
        else:
            current.text += line + "\n"
    for section in found.values():
        section.tables = list(_tables(section.text))
    return found


def _tables(text):
    for block in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):
        head, _, *rows = [_cells(line) for line in block.splitlines()]
        yield [dict(zip(head, row, strict=True)) for row in rows]


def _cells(line):
    return [cell.strip() for cell in line.strip("|").split("|")]


def examples(text):
    found = []
    for match in _FENCE.finditer(text):
        before = text[: match.start()]
        title = re.findall(r"^#+ (.*)$", re.sub(r"```.*?```", "", before, flags=re.DOTALL), re.MULTILINE)[-1]
        line = text.count("\n", 0, match.start(3)) + 1
        found.append(Example(match[2], match[3], match[1] or "", title, line))
    for index, example in enumerate(found):
        if example.kind == "plan":
            after = (other for other in found[index:] if other.section == example.section and other.kind == "device")
            example.device = next(after, None)
    return found


def words(text):
    """What stands in backticks."""
    return re.findall(r"`([^`]+)`", text)


README = (TESTPLANS / "README.md").read_text("utf-8")
SECTIONS = sections(README)
EXAMPLES = examples(README)


def of_kind(*kinds):
    return [example for example in EXAMPLES if example.kind in kinds]
