"""A matrix over links of rising protection: every operation on every attribute, what was expected and what was found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import cast

from benchrig.access.asking import Answer, Asking
from benchrig.access.rules import INSUFFICIENT, Expected, Over, expected, found_words
from benchrig.access.subject import Subject, can_subscribe, offers
from benchrig.radio.security import SMALLEST_KEY, Level
from benchrig.radio.table import Characteristic
from benchrig.source.problem import counted
from benchrig.values.access import ALLOWED, LEVELS, OPERATIONS, AccessCell, AccessRow, Need, Operation

# A search for a type may find nothing where a value is hidden from it (Core Vol 3 Part F 3.4.4.1); a stack that is not
# strict may look at the length of a value before it looks at the link, and tells no more than that.
NOT_FOUND, NOT_LONG = 0x0A, 0x0B
# What the table itself says, against the matrix.
NOT_OFFERED, OFFERED, NAMED = "not offered", "offered by the table", "a line in the matrix"
_BARRED = "the plan has no way to this level"
_HIDDEN = "the operating system does not show this attribute"
_NO_VALUE = "its value is not known"
_NOT_LISTED = "not listed under writes"
_NO_SECOND = "it has no answer, and changes has no other value"
_NOT_BACK = "its effect cannot be read back over this link"
_NO_SWITCH = "it has no client characteristic configuration"


@dataclass
class Trying:
    """`hides_refusals` says why the radio cannot show that an operation is refused for want of security, `unsent` why it does
    not send one that the table does not offer; '' where it does."""

    strict: bool = True
    hides_refusals: str = ""
    unsent: str = ""
    # by handle and operation, in the order of the table
    rows: dict[tuple[int, Operation], AccessRow] = field(default_factory=dict)
    # the values that were read last, by handle
    _values: dict[int, bytes] = field(default_factory=dict)
    # of what the radio does not show
    _hidden: list[AccessRow] = field(default_factory=list)
    # what was left on, by handle
    kept: set[int] = field(default_factory=set)
    # those that this link lets read
    _readable: set[int] = field(default_factory=set)

    async def over(self, asking: Asking, subjects: Sequence[Subject], over: Over, *, keep: bool = False) -> None:
        """Try everything over one link that was not tried over one like it; `keep` leaves on what sends protected values.
        LinkLost, NoAnswer, …"""
        self._readable = set()
        for operation in OPERATIONS:
            for subject in subjects:
                if not self._is_done(subject, operation, over):
                    await self._try(asking, subject, operation, over, keep=keep)
        self.unasked(asking, subjects, over)

    def lacks_values(self, over: Over) -> bool:
        """Whether another link like this one would show more: values were not known, and are now."""
        return any(
            cell.link == over.label and cell.why == _NO_VALUE and handle in self._values
            for (handle, _), row in self.rows.items()
            for cell in row.cells
        )

    def _is_done(self, subject: Subject, operation: Operation, over: Over) -> bool:
        row = self.rows.get((subject.handle, operation))
        return row is not None and any(cell.link == over.label and cell.why != _NO_VALUE for cell in row.cells)

    def unnamed(self, subject: Subject, operation: Operation) -> None:
        """The table offers what the matrix does not name."""
        cell = AccessCell(Level.NO_SECURITY.words, NAMED, OFFERED, differs=True)
        self.rows.setdefault((subject.handle, operation), AccessRow(subject.name, operation, "", [cell]))

    def barred(self, over: Over) -> None:
        """There is no way to links like this one: nothing that needs one, or must be refused over it, is tried."""
        for row in self.rows.values():
            if row.needs and row.needs != "any":
                _put(row, AccessCell(over.label, why=_BARRED))

    def hidden(self, name: str, operation: Operation, need: Need) -> None:
        """The radio does not show the attribute of this name."""
        cell = AccessCell(Level.NO_SECURITY.words, why=_HIDDEN)
        self._hidden.append(AccessRow(name, operation, need, [cell]))

    async def _try(self, asking: Asking, subject: Subject, operation: Operation, over: Over, *, keep: bool) -> None:
        need = subject.needs.get(operation)
        if need is None:
            return
        row = self.rows.setdefault(
            (subject.handle, operation), AccessRow(subject.name, operation, _said(subject, need))
        )
        wanted = expected(operation, need, over, strict=self.strict, key_size=subject.key_size)
        if wanted is None:
            return
        if need != "never" and offers(subject.attribute, operation) is False:
            row.cells[:] = row.cells or [AccessCell(over.label, wanted.words, NOT_OFFERED, differs=True)]
        elif why := self._why_not(subject, operation, wanted):
            _put(row, AccessCell(over.label, wanted.words, why=why))
        else:
            answers = await self._answers(asking, subject, operation, wanted, keep=keep)
            _put(row, self._cell(over, wanted, answers))

    def _why_not(self, subject: Subject, operation: Operation, wanted: Expected) -> str:
        """Why the operation is not tried; '' when it is."""
        if self.hides_refusals and not wanted.allowed and wanted.errors & INSUFFICIENT:
            return self.hides_refusals
        if self.unsent and not offers(subject.attribute, operation):
            return self.unsent
        if operation == "read":
            return ""
        if operation == "subscribe":
            return "" if can_subscribe(subject.attribute) else _NO_SWITCH
        if not subject.may_write:
            return _NOT_LISTED
        return self._why_not_written(subject, operation)

    def _why_not_written(self, subject: Subject, operation: Operation) -> str:
        if operation == "write without response" and subject.second is None:
            return _NO_SECOND
        if operation == "write without response" and subject.handle not in self._readable:
            return _NOT_BACK
        return "" if subject.handle in self._values else _NO_VALUE

    async def _answers(
        self, asking: Asking, subject: Subject, operation: Operation, wanted: Expected, *, keep: bool
    ) -> list[Answer]:
        """Those to the usual request first. What is refused as it must be is asked for in other ways too."""
        attribute, name = subject.attribute, subject.name
        if operation == "read":
            first = await asking.read(attribute, name)
            if not first.code:
                self._values[subject.handle] = first.data
                self._readable.add(subject.handle)
            more = await asking.other_reads(attribute, name) if _holds(wanted, first) else []
        elif operation == "write":
            value = self._values[subject.handle]
            first = await asking.write(attribute, name, value)
            more = await asking.other_writes(attribute, name, value) if _holds(wanted, first) else []
        elif operation == "subscribe":
            keep = keep and subject.needs[operation] in LEVELS[1:]
            first, more = await asking.subscribe(cast("Characteristic", attribute), name, keep=keep), []
            self.kept |= {subject.handle} if keep and not first.code else set()
        else:
            old, new = self._values[subject.handle], subject.second or b""
            first, more = await asking.write_unanswered(attribute, name, old, new), []
        return [first, *more]

    def unasked(self, asking: Asking, subjects: Iterable[Subject], over: Over) -> None:
        """What sends over a link on which it must not be subscribed to."""
        sent = asking.link.sent_unasked
        for subject in subjects:
            row = self.rows.get((subject.handle, "subscribe"))
            cell = next((each for each in row.cells if each.link == over.label), None) if row is not None else None
            count = sent.get(subject.handle, 0)
            if row is not None and cell is not None and count and cell.expected != ALLOWED:
                found = f"{counted(count, 'value')} sent"
                _put(row, AccessCell(over.label, cell.expected, found, differs=True))

    def _cell(self, over: Over, wanted: Expected, answers: list[Answer]) -> AccessCell:
        wrong = next((each for each in answers if not self._fits(wanted, each)), None)
        told = wrong or answers[0]
        return AccessCell(over.label, wanted.words, found_words(told.code), told.way, differs=wrong is not None)

    def _fits(self, wanted: Expected, answer: Answer) -> bool:
        if wanted.allowed or wanted.fits(answer.code):
            return wanted.fits(answer.code)
        if answer.way == "read by type" and answer.code == NOT_FOUND:
            return True
        return answer.way == "read blob" and answer.code == NOT_LONG and not self.strict

    # --- what it comes to

    @property
    def all(self) -> list[AccessRow]:
        return [*self.rows.values(), *self._hidden]

    @property
    def _cells(self) -> list[AccessCell]:
        return [cell for row in self.all for cell in row.cells]

    @property
    def tried(self) -> int:
        return sum(1 for cell in self._cells if cell.found not in ("", NOT_OFFERED, OFFERED))

    @property
    def not_tried(self) -> dict[str, int]:
        """How often for each reason."""
        reasons = [cell.why for cell in self._cells if cell.why]
        return {why: reasons.count(why) for why in dict.fromkeys(reasons)}

    @property
    def differences(self) -> list[str]:
        return [text for row in self.rows.values() for text in row.differences]


def _said(subject: Subject, need: Need) -> str:
    sized = subject.key_size > SMALLEST_KEY and need in LEVELS[1:]
    return f"{need}, key of {subject.key_size} bytes" if sized else need


def _put(row: AccessRow, cell: AccessCell) -> None:
    """In the place of what was said of a link like this one."""
    links = [each.link for each in row.cells]
    at = links.index(cell.link) if cell.link in links else len(links)
    row.cells[at : at + 1] = [cell]


def _holds(wanted: Expected, first: Answer) -> bool:
    """Whether the usual request was refused as it must be."""
    return not wanted.allowed and wanted.fits(first.code)
