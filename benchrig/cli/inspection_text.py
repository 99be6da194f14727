"""An inspection in the terminal: the device, its whole attribute table with values, and what is wrong with it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from benchrig.cli.content_text import attribute_title, octets
from benchrig.errors import MalformedValue
from benchrig.source.problem import counted
from benchrig.text.durations import milliseconds
from benchrig.text.escape import plain, value_text, with_unit
from benchrig.text.field import structure_text
from benchrig.text.tables import print_line
from benchrig.values import catalogue
from benchrig.values.presentation import PRESENTATION_FORMAT

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rich.console import Console

    from benchrig.desk.comparing import Change, Comparison
    from benchrig.desk.findings import Finding
    from benchrig.desk.inspection import CharacteristicSeen, Content, DescriptorSeen, Inspection, SecuritySeen

SENTENCE = 600
SEVERITY_STYLES = {"error": "bold red", "warning": "yellow", "note": "dim"}
_LABEL = 10
# Values stand below the names of their characteristics.
_VALUE = 10


def render(seen: Inspection, findings: Sequence[Finding], console: Console, against: Comparison | None = None) -> None:
    """Print the inspection, then the findings; with `against` what has changed after that."""
    page = Page(console)
    page.head(seen)
    for service in seen.services:
        page.line()
        page.line((attribute_title(service.name, service.uuid), "bold"), (f"  handle {_handle(service.handle)}", "dim"))
        for characteristic in service.characteristics:
            page.characteristic(characteristic)
    page.line()
    page.findings(findings, unread(seen))
    if against is not None:
        page.line()
        page.comparison(against)


class Page:
    """Prints in the width and the character set of one console."""

    def __init__(self, console: Console) -> None:
        self.line = partial(print_line, console)
        self._value = partial(print_line, console, indent=_VALUE)

    def head(self, seen: Inspection) -> None:
        for label, text in _head(seen):
            self.line((f"{label:<{_LABEL}}", "dim"), (text, ""))

    def characteristic(self, seen: CharacteristicSeen) -> None:
        properties = ", ".join(seen.properties) or "no properties"
        title = attribute_title(seen.name, seen.uuid)
        self.line((f"  {_handle(seen.handle)}  ", "dim"), (title, ""), (f"  {plain(properties)}", "dim"))
        if seen.content is not None:
            self._content(seen.content)
        elif seen.unread and "read" in seen.properties:
            self._value((plain(seen.unread), "yellow"))
        self._guarded(seen)
        for descriptor in seen.descriptors:
            self._descriptor(descriptor)

    def _descriptor(self, seen: DescriptorSeen) -> None:
        name = f"{_handle(seen.handle)}  {attribute_title(seen.name, seen.uuid)}: "
        if seen.content is None:
            self._value((name, ""), (plain(seen.unread), "yellow"))
        elif seen.uuid == PRESENTATION_FORMAT:
            self._value((name + presentation_text(seen.content), ""), (f"  {octets(seen.content)}", "dim"))
        else:
            self._content(seen.content, name)
        self._guarded(seen)

    def _guarded(self, seen: CharacteristicSeen | DescriptorSeen) -> None:
        if seen.guarded is not None:
            self._value((f"read after pairing; before: {plain(seen.guarded.unread)}", "dim"))

    def _content(self, content: Content, name: str = "") -> None:
        if content.wrong:
            self._value((name + plain(content.wrong, SENTENCE), "bold red"), (f"  {octets(content)}", "dim"))
            return
        text = content_text(content)
        source = "  as its presentation format says" if content.known_by == "presentation format" else ""
        self._value((name + text, ""), (f"{'  ' if text else ''}{octets(content)}{source}", "dim"))

    def findings(self, findings: Sequence[Finding], unread: int = 0) -> None:
        for finding in findings:
            where = f"{plain(finding.where)}: " if finding.where else ""
            sentence = f"{where}{plain(finding.sentence, SENTENCE)}"
            self.line((f"{finding.severity}: ", SEVERITY_STYLES[finding.severity]), (sentence, ""))
            self.line((f"{finding.rule}; {plain(finding.source)}", "dim"), indent=9)
        self.line((count_findings(findings), "bold"))
        if unread:
            said = f"{counted(unread, 'attribute')} not read: rules about values were not applied there"
            self.line((said, "yellow"))

    def comparison(self, found: Comparison) -> None:
        for label, style, text in _changes(found):
            self.line((f"{label:<9}", style), (text, ""))
        verdict = "the structure is the same" if found.same_structure else "the structure differs"
        self.line((verdict, "bold"))


def _head(seen: Inspection) -> Iterator[tuple[str, str]]:
    heard, timing = seen.advertising, seen.timing
    kind = f" ({plain(seen.address_type)})" if seen.address_type else ""
    yield "device", f"{plain(heard.name) or 'without a name'}, address {plain(seen.address)}{kind}"
    yield "radio", plain(seen.radio) + (", SIMULATED" if seen.simulated else "")
    level = "" if heard.rssi is None else f"{value_text(heard.rssi)} dBm"
    interval = "" if heard.interval is None else f"every {milliseconds(heard.interval)}"
    if level or interval:
        yield "heard", ", ".join(filter(None, (level, interval)))
    table = "" if timing.discover is None else f", {milliseconds(timing.discover)} of it for the table"
    yield "connected", f"in {milliseconds(timing.connect)}{table}; all values read in {milliseconds(timing.read)}"
    yield "payload", f"{seen.payload} bytes in a notification"
    if seen.security is not None:
        yield "pairing", _security(seen.security)
    yield from (("note", plain(note, SENTENCE)) for note in seen.notes)


def _security(seen: SecuritySeen) -> str:
    """'as keyboard: passkey, Secure Connections, authenticated, key of 16 bytes, bonded; link: secure connections'."""
    from benchrig.desk.securing import paired_words
    from benchrig.steps.pairing_readings import failure_words

    if seen.failure:
        return f"as {seen.capability}: failed: {plain(failure_words(seen.failure, seen.failed_by))}"
    words = paired_words(seen.method, seen.secure_connections, seen.authenticated, seen.key_size, seen.bonded)
    level = f"; link: {seen.level}" if seen.level else ""
    identity = f"; identity address {seen.identity_address}" if seen.identity_address else ""
    return f"as {seen.capability}: {words}{level}{plain(identity)}"


def _changes(found: Comparison) -> Iterator[tuple[str, str, str]]:
    """Label, style and text of each."""
    yield from (("added", "bold green", plain(path, SENTENCE)) for path in found.added)
    yield from (("removed", "bold red", plain(path, SENTENCE)) for path in found.removed)
    yield from (("changed", "bold yellow", change_text(change)) for change in found.changed)
    yield from (("value", "dim", change_text(change)) for change in found.values)
    yield from (("on air", "dim", change_text(change)) for change in found.advertising)
    if found.moved:
        yield "moved", "dim", f"{found.moved} of the attributes have other handles now"


def content_text(content: Content) -> str:
    """The value for people; '' where no format is known."""
    if not content.format:
        return ""
    if isinstance(content.value, dict):
        return structure_text(content.value, content.units)
    return with_unit(content.value, content.unit)


def change_text(change: Change) -> str:
    """'battery/battery level: properties read -> read, notify'."""
    before, after = _side(change.before), _side(change.after)
    head = f"{plain(change.where, SENTENCE)}: "
    return f"{head}{before} -> {after}" if change.what == "value" else f"{head}{change.what} {before} -> {after}"


def _side(value: Any) -> str:
    from benchrig.desk.inspection import Content

    if isinstance(value, Content):
        return content_text(value).strip() or plain(value.wrong) or octets(value)
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
