"""The reference taken apart: its pages, sections, tables and examples.

Its pages are testplans/README.md, the first one, and each testplans/reference/*.md. A title of a section is unique
among all pages, so a section may move to another page.

An example is a fenced block. The first word after the fence is its language, the second says what it is:

    yaml plan           a whole plan; runs on the first `yaml device` block after it in the same section of the page,
                        else on testplans/devices/logger.yaml
    yaml step           steps; run on that logger, with the names of all `yaml attributes` blocks, after a scan and a
                        connect unless they begin with one
    yaml select         the selection of a unit
    yaml attributes     names of attributes
    yaml device         a device file
    yaml station        a station file
    yaml limits         a limit set of a plan that ships
    yaml argued         arguments for escapes of testplans/end_of_line.yaml
    yaml part NAME      a file of steps, put beside every plan under this name
    python NAME         a file that is put beside every plan
    python test NAME    a file of tests: each is run, in a folder with all files of Python and the logger as logger.yaml

A comment before the fence states the exit code of the run, `<!-- exit 1 -->` (default: 0), or that the caution
has been acknowledged, `<!-- acknowledge -->`.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path

TESTPLANS = Path(__file__).parent.parent / "testplans"
LOGGER = TESTPLANS / "devices" / "logger.yaml"
KINDS = ("plan", "step", "select", "attributes", "device", "station", "limits", "argued", "part")
_FENCE = re.compile(r"(?:<!-- (.*?) -->\n)?```([^\n]*)\n(.*?)```", re.DOTALL)


@dataclass
class Example:
    """One block. `line` is that of its first line of text in the page."""

    info: str
    text: str
    said: str
    section: str
    line: int
    page: str
    device: "Example | None" = None

    @property
    def kind(self):
        language, *rest = self.info.split()
        return rest[0] if rest and (language == "yaml" or rest[0] == "test") else language

    @property
    def file(self):
        return self.info.split()[-1]

    @property
    def exit_code(self):
        return int(self.said.removeprefix("exit ")) if self.said.startswith("exit ") else 0

    def __str__(self):
        return f"{self.kind} in line {self.line} of {self.page}, {self.section}"


@dataclass
class Section:
    title: str
    page: str = ""
    text: str = ""
    tables: list[list[dict[str, str]]] = field(default_factory=list)

    def table(self, head):
        """Rows of the tables whose first column has this head."""
        return [row for table in self.tables for row in table if next(iter(row)) == head]


def prose(text):
    """Without its examples."""
    return re.sub(r"```.*?```", "", text, flags=re.DOTALL)


def sections(text, page=""):
    """By title. A section ends at the next heading of any level."""
    found, current = {}, None
    for line in prose(text).splitlines():
        if line.startswith("#"):
            current = Section(line.lstrip("# "), page)
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


def examples(text, page):
    found = []
    for match in _FENCE.finditer(text):
        before = text[: match.start()]
        title = re.findall(r"^#+ (.*)$", prose(before), re.MULTILINE)[-1]
        line = text.count("\n", 0, match.start(3)) + 1
        found.append(Example(match[2], match[3], match[1] or "", title, line, page))
    for index, example in enumerate(found):
        if example.kind == "plan":
            after = (other for other in found[index:] if other.section == example.section and other.kind == "device")
            example.device = next(after, None)
    return found


def words(text):
    """What stands in backticks."""
    return re.findall(r"`([^`]+)`", text)


def anchor(title):
    """What a link to the section ends with."""
    return "#" + re.sub(r"[^a-z0-9_ -]", "", title.lower()).replace(" ", "-")


def links(text):
    """Where they lead, but for those into the web."""
    return [target for target in re.findall(r"\]\(([^)]*)\)", prose(text)) if "://" not in target]


def dead_links(page):
    """Those of a file that lead to no file, or to no section of the file."""
    dead = []
    for target in links(page.read_text("utf-8")):
        name, hash_, title = target.partition("#")
        file = page.parent / name if name else page
        if not file.exists() or (hash_ and hash_ + title not in map(anchor, sections(file.read_text("utf-8")))):
            dead.append(target)
    return dead


def contents(text):
    """Where the links of a page's list of contents lead; it has no empty line."""
    return links(text.partition("**Contents**\n\n")[2].partition("\n\n")[0])


FIRST = "README.md"
PAGES = {path.relative_to(TESTPLANS).as_posix(): path.read_text("utf-8")
         for path in [TESTPLANS / FIRST, *sorted((TESTPLANS / "reference").glob("*.md"))]}  # fmt: skip
SECTIONS: dict[str, Section] = {}
for _page, _text in PAGES.items():
    _found = sections(_text, _page)
    assert not _found.keys() & SECTIONS, f"two pages have a section {_found.keys() & SECTIONS}"
    SECTIONS |= _found
EXAMPLES = [example for page, text in PAGES.items() for example in examples(text, page)]


def of_kind(*kinds):
    return [example for example in EXAMPLES if example.kind in kinds]
