"""A matrix over links of rising protection: every operation on every attribute, what was expected and what was found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import cast

from benchrig.access.asking import Answer, Asking
from benchrig.access.rules import NOT_STORED, STORED, Expected, Over, expected, found_words
from benchrig.access.subject import Subject, can_subscribe, offers
from benchrig.radio.security import SMALLEST_KEY, Level
from benchrig.radio.table import Characteristic
from benchrig.source.problem import counted
from benchrig.values.access import ALLOWED, LEVELS, OPERATIONS, AccessCell, AccessRow, Need, Operation
from benchrig.values.att_errors import INSUFFICIENT, NOT_FOUND, NOT_LONG

# What the table itself says, against the matrix.
NOT_OFFERED, OFFERED, NAMED = "not offered", "offered by the table", "a line in the matrix"
ALIKE, APART = "the same table on every link", "an attribute that other links do not have"
_BARRED = "the plan has no way to this level"
ENCRYPTED = "the operating system encrypts the link to a bonded device on its own"
_HIDDEN = "the operating system does not show this attribute"
_NO_VALUE = "its value is not known"
_NOT_LISTED = "not listed under writes"
_NO_SECOND = "it has no answer, and changes has no other value"
_NO_OTHER = "the value under changes is its own"
_NOT_BACK = "its effect cannot be read back over this link"
_SIZED = ", key of "
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
    # of what the radio does not show, or not every link
    _hidden: list[AccessRow] = field(default_factory=list)
    # what was left on, by handle
    kept: set[int] = field(default_factory=set)
    # levels whose table was compared with that before the pairing
    reached: set[Level] = field(default_factory=set)
    # those that this link lets read
    _readable: set[int] = field(default_factory=set)
    # handle -> the link over which other values were refused, and could not be looked for
    _unseen: dict[int, Over] = field(default_factory=dict)

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

    @property
    def is_blind(self) -> bool:
        """Whether a value may have been changed over a link that does not let read it, and another one may."""
        return any(handle in self._values for handle in self._unseen)

    async def look(self, asking: Asking, subjects: Iterable[Subject]) -> None:
        """Read what may have been changed, over a link that lets; what was is put back."""
        for subject in subjects:
            known = self._values.get(subject.handle)
            if subject.handle in self._unseen and known is not None:
                there = await asking.read(subject.attribute, subject.name)
                if not there.code and self._is_stray(subject, there.data):
                    await asking.write(subject.attribute, subject.name, known)

    def barred(self, over: Over, *, sized: bool = False, why: str = _BARRED) -> None:
        """There is no way to links like this one: nothing that needs one, or must be refused over it, is tried. `sized`: it
        matters for what asks for a size of the key alone."""
        for row in self.rows.values():
            if row.needs and row.needs != "any" and (not sized or _SIZED in row.needs):
                _put(row, AccessCell(over.label, why=why))

    def apart(self, names: Iterable[str], over: Over) -> None:
        """Attributes that are in the table of a link alone, or of all but this one."""
        for name in names:
            self._hidden.append(
                AccessRow(name, "discovery", "open", [AccessCell(over.label, ALIKE, APART, differs=True)])
            )

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
            if operation == "write" and not wanted.allowed and subject.second is not None:
                self._unseen[subject.handle] = over
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
        if subject.second is not None and subject.second == self._values.get(subject.handle):
            return _NO_OTHER
        if operation == "write without response" and subject.handle not in self._readable:
            return _NOT_BACK
        return "" if subject.handle in self._values or _is_command(subject) else _NO_VALUE

    async def _answers(
        self, asking: Asking, subject: Subject, operation: Operation, wanted: Expected, *, keep: bool
    ) -> list[Answer]:
        """Those to the usual request first. What is refused as it must be is asked for in other ways too."""
        attribute, name = subject.attribute, subject.name
        if operation == "read":
            first = await asking.read(attribute, name)
            known = self._values.get(subject.handle)
            if not first.code:
                self._readable.add(subject.handle)
                self._values[subject.handle] = first.data if not self._is_stray(subject, first.data) else known or b""
            more = await asking.other_reads(attribute, name, known) if _holds(wanted, first) else []
        elif operation == "write":
            first, more = await self._written(asking, subject, wanted)
        elif operation == "subscribe":
            keep = keep and subject.needs[operation] in LEVELS[1:]
            characteristic = cast("Characteristic", attribute)
            first = await asking.subscribe(characteristic, name, keep=keep)
            more = await asking.other_subscriptions(characteristic, name) if _holds(wanted, first) else []
            self.kept |= {subject.handle} if keep and not first.code else set()
        else:
            old, new = self._values[subject.handle], subject.second or b""
            first, more = await asking.write_unanswered(attribute, name, old, new), []
        return [first, *more]

    async def _written(self, asking: Asking, subject: Subject, wanted: Expected) -> tuple[Answer, list[Answer]]:
        """With the value that is there, or with the second one, whose effect is looked for; then the first is put back."""
        attribute, name, known = subject.attribute, subject.name, subject.handle in self._values
        value = self._values.get(subject.handle, subject.second or b"")
        first = await asking.write(attribute, name, value if subject.second is None else subject.second)
        if _holds(wanted, first):
            more = await asking.other_writes(attribute, name, value)
            if known and subject.second is not None and all(map(wanted.fits, (each.code for each in more))):
                more += await self._changed(asking, subject, subject.second)
            return first, more
        if not known or subject.second is None or first.code:
            return first, []
        kept = await self._is_there(asking, subject, subject.second)
        await asking.write(attribute, name, value)
        return first, [Answer(NOT_STORED)] if kept is False and wanted.allowed else []

    async def _changed(self, asking: Asking, subject: Subject, new: bytes) -> list[Answer]:
        """What has changed the value, though it was refused or has no answer; the old value is put back."""
        if there := await self._is_there(asking, subject, new):
            return await self._put_back(asking, subject, Answer(STORED))
        async for way in asking.changes(subject.attribute, subject.name, new):
            there = await self._is_there(asking, subject, new)
            if there:
                return await self._put_back(asking, subject, Answer(way=way))
        if there is False:
            self._unseen.pop(subject.handle)
        return []

    async def _put_back(self, asking: Asking, subject: Subject, answer: Answer) -> list[Answer]:
        """In the same way, where no usual write may do it."""
        self._unseen.pop(subject.handle)
        attribute, name, value = subject.attribute, subject.name, self._values[subject.handle]
        await asking.write(attribute, name, value)
        async for _ in asking.changes(attribute, name, value):
            pass
        return [answer]

    async def _is_there(self, asking: Asking, subject: Subject, value: bytes) -> bool | None:
        """None where this link does not let read it."""
        if subject.handle not in self._readable:
            return None
        return (await asking.read(subject.attribute, subject.name)).data == value

    def _is_stray(self, subject: Subject, data: bytes) -> bool:
        """Whether it is the value that a link before this one was refused to write; its cell says so then."""
        over = self._unseen.pop(subject.handle, None)
        row = self.rows.get((subject.handle, "write"))
        if over is None or row is None or data != subject.second:
            return False
        cell = next(each for each in row.cells if each.link == over.label)
        _put(row, AccessCell(over.label, cell.expected, found_words(STORED), differs=True))
        return True

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
        # a search for a type may find nothing where a value is hidden from it (Core Vol 3 Part F 3.4.4.1)
        if answer.way in ("read by type", "find by type value") and answer.code == NOT_FOUND:
            return True
        # a stack that is not strict may look at the length of a value before it looks at the link, and tells no more
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
        return sum(1 for cell in self._cells if cell.found not in ("", NOT_OFFERED, OFFERED, APART))

    @property
    def not_tried(self) -> dict[str, int]:
        """How often for each reason."""
        reasons = [cell.why for cell in self._cells if cell.why]
        return {why: reasons.count(why) for why in dict.fromkeys(reasons)}

    @property
    def differences(self) -> list[str]:
        return [text for row in self.all for text in row.differences]


def _said(subject: Subject, need: Need) -> str:
    sized = subject.key_size > SMALLEST_KEY and need in LEVELS[1:]
    return f"{need}{_SIZED}{subject.key_size} bytes" if sized else need


def _is_command(subject: Subject) -> bool:
    """What nobody reads: the value under changes is all that can be written to it."""
    return subject.second is not None and not offers(subject.attribute, "read")


def _put(row: AccessRow, cell: AccessCell) -> None:
    """In the place of what was said of a link like this one."""
    links = [each.link for each in row.cells]
    at = links.index(cell.link) if cell.link in links else len(links)
    row.cells[at : at + 1] = [cell]


def _holds(wanted: Expected, first: Answer) -> bool:
    """Whether the usual request was refused as it must be."""
    return not wanted.allowed and wanted.fits(first.code)
