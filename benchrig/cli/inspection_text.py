"""An inspection in the terminal: the device, its whole attribute table with values, and what is wrong with it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from benchrig.errors import MalformedValue
from benchrig.source.problem import counted
from benchrig.text.durations import milliseconds
from benchrig.text.escape import ascii_text, hex_text, plain, value_text, with_unit
from benchrig.text.field import field_text
from benchrig.values import catalogue
from benchrig.values.presentation import PRESENTATION_FORMAT

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rich.console import Console

    from benchrig.desk.comparing import Change, Comparison
    from benchrig.desk.findings import Finding
    from benchrig.desk.inspection import CharacteristicSeen, Content, DescriptorSeen, Inspection

SENTENCE = 600
SEVERITY_STYLES = {"error": "bold red", "warning": "yellow", "note": "dim"}
_LABEL = 10


def render(seen: Inspection, findings: Sequence[Finding], console: Console, against: Comparison | None = None) -> None:
    """Print the inspection, then the findings; with `against` what has changed after that."""
    page = Page(console)
    page.head(seen)
    for service in seen.services:
        page.blank()
        page.line(attribute_title(service.name, service.uuid), "bold", f"  handle {_handle(service.handle)}", "dim")
        for characteristic in service.characteristics:
            page.characteristic(characteristic)
    page.blank()
    page.findings(findings, unread(seen))
    if against is not None:
        page.blank()
        page.comparison(against)


class Page:
    """Prints lines in the width and the character set of one console. Text is never read as markup."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def head(self, seen: Inspection) -> None:
        for label, text in _head(seen):
            self.line(f"{label:<{_LABEL}}", "dim", text)
        for note in seen.notes:
            self.line(f"{'note':<{_LABEL}}", "dim", plain(note, SENTENCE))

    def characteristic(self, seen: CharacteristicSeen) -> None:
        properties = ", ".join(seen.properties) or "no properties"
        title = attribute_title(seen.name, seen.uuid)
        self.line(f"  {_handle(seen.handle)}  ", "dim", title, after=f"  {plain(properties)}")
        if seen.content is not None:
            self._content(seen.content, 10)
        elif seen.unread and "read" in seen.properties:
            self.line(plain(seen.unread), "yellow", indent=10)
        for descriptor in seen.descriptors:
            self._descriptor(descriptor)

    def _content(self, content: Content, indent: int, name: str = "") -> None:
        head = f"{name}: " if name else ""
        if content.wrong:
            self.line(head + plain(content.wrong, SENTENCE), "bold red", bytes_shown(content), "dim", indent=indent)
            return
        text = content_text(content)
        source = "  as its presentation format says" if content.known_by == "presentation format" else ""
        self.line(
            head + text,
            "",
            (bytes_shown(content) if text else bytes_shown(content).strip()) + source,
            "dim",
            indent=indent,
        )

    def _descriptor(self, seen: DescriptorSeen) -> None:
        name = f"{_handle(seen.handle)}  {attribute_title(seen.name, seen.uuid)}"
        if seen.content is None:
            self.line(f"{name}: ", "", plain(seen.unread), "yellow", indent=10)
        elif seen.uuid == PRESENTATION_FORMAT:
            self.line(f"{name}: {presentation_text(seen.content)}", "", bytes_shown(seen.content), "dim", indent=10)
        else:
            self._content(seen.content, 10, name)

    def findings(self, findings: Sequence[Finding], unread: int = 0) -> None:
        for finding in findings:
            head = f"{finding.severity}: "
            where = f"{plain(finding.where)}: " if finding.where else ""
            self.line(head, SEVERITY_STYLES[finding.severity], f"{where}{plain(finding.sentence, SENTENCE)}")
            self.line(f"{finding.rule}; {plain(finding.source)}", "dim", indent=9)
        self.line(count_findings(findings), "bold")
        if unread:
            self.line(f"{counted(unread, 'attribute')} not read: rules about values were not applied there", "yellow")

    def comparison(self, found: Comparison) -> None:
        for path in found.added:
            self.line("added    ", "bold green", plain(path, SENTENCE))
        for path in found.removed:
            self.line("removed  ", "bold red", plain(path, SENTENCE))
        for change in found.changed:
            self.line("changed  ", "bold yellow", change_text(change))
        for change in found.values:
            self.line("value    ", "dim", change_text(change))
        for change in found.advertising:
            self.line("on air   ", "dim", change_text(change))
        if found.moved:
            self.line("moved    ", "dim", f"{found.moved} of the attributes have other handles now")
        verdict = "the structure is the same" if found.same_structure else "the structure differs"
        self.line(verdict, "bold")

    def blank(self) -> None:
        self._console.print()

    def line(
        self, head: str, style: str = "", text: str = "", text_style: str = "", *, after: str = "", indent: int = 0
    ) -> None:
        line = Text.assemble(
            *((self._said(each), how) for each, how in ((head, style), (text, text_style), (after, "dim")))
        )
        for row in line.wrap(self._console, max(20, self._console.width - indent), overflow="fold"):
            row.rstrip()
            self._console.print(Text(" " * indent) + row, overflow="ignore", soft_wrap=True)

    def _said(self, text: str) -> str:
        return ascii_text(text) if self._console.options.ascii_only else text


def _head(seen: Inspection) -> Iterator[tuple[str, str]]:
    heard, timing = seen.advertising, seen.timing
    yield (
        "device",
        f"{plain(heard.name) or 'without a name'}, address {plain(seen.address)}" + _in_brackets(seen.address_type),
    )
    yield "radio", plain(seen.radio) + (", SIMULATED" if seen.simulated else "")
    level = "" if heard.rssi is None else f"{value_text(heard.rssi)} dBm"
    interval = "" if heard.interval is None else f"every {milliseconds(heard.interval)}"
    if level or interval:
        yield "heard", ", ".join(filter(None, (level, interval)))
    table = "" if timing.discover is None else f", {milliseconds(timing.discover)} of it for the table"
    yield "connected", f"in {milliseconds(timing.connect)}{table}; all values read in {milliseconds(timing.read)}"
    yield "payload", f"{seen.payload} bytes in a notification"


def attribute_title(name: str, uuid: str) -> str:
    """'battery level (2A19)'; the UUID alone where it has no name."""
    short = catalogue.short_uuid(uuid)
    return short if name == short else f"{plain(name)} ({short})"


def content_text(content: Content) -> str:
    """The value for people; '' where no format is known."""
    if not content.format:
        return ""
    if isinstance(content.value, dict):
        return ", ".join(
            f"{plain(key)} {field_text(key, item, content.units.get(key, ''))}" for key, item in content.value.items()
        )
    return with_unit(content.value, content.unit)


def bytes_shown(content: Content) -> str:
    return f"  [{hex_text(content.raw)}]" if content.raw else "  (no bytes)"


def change_text(change: Change) -> str:
    """'battery/battery level: properties read -> read, notify'."""
    before, after = _side(change.before), _side(change.after)
    head = f"{plain(change.where, SENTENCE)}: "
    return f"{head}{before} -> {after}" if change.what == "value" else f"{head}{change.what} {before} -> {after}"


def _side(value: Any) -> str:
    from benchrig.desk.inspection import Content

    if isinstance(value, Content):
        return (content_text(value) or plain(value.wrong) or bytes_shown(value)).strip()
    if isinstance(value, list):
        return ", ".join(plain(str(each)) for each in value) or "none"
    return plain(str(value)) or "none"


def presentation_text(content: Content) -> str:
    """A presentation format in the words of formats: 'sint16 × 0.01 °C'."""
    try:
        return catalogue.format_from_presentation(content.data).describe()
    except MalformedValue as error:
        return plain(error.message, SENTENCE)


def unread(seen: Inspection) -> int:
    """How many attributes the look did not come to."""
    return sum(
        (not each.is_known) + sum(not part.is_known for part in each.descriptors) for _, each in seen.characteristics()
    )


def count_findings(findings: Sequence[Finding]) -> str:
    """'2 errors, 1 note'."""
    counts = {severity: sum(f.severity == severity for f in findings) for severity in SEVERITY_STYLES}
    said = [counted(count, severity) for severity, count in counts.items() if count]
    return ", ".join(said) or "no problems found in the attribute table or in the advertising"


def _handle(number: int) -> str:
    return f"0x{number:04X}"


def _in_brackets(text: str) -> str:
    return f" ({plain(text)})" if text else ""
