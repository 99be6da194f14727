"""Who works at the line in the shift: puts units in, scans, answers, and compares every word on the screen with the table."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tests.line.seen import Panel, figures, large_words, panel
from tests.line.shift_place import BADGE, CAUTION, OTHER_BADGE, QUESTION, SHARED, label_of, programmer, pull_out, put_in
from tests.line.shift_rows import Deed, Entry, Row, sums
from tests.line.terminal import LineTerminal

# The step that finds a wrong label, which is told first.
WRONG = "read serial number"
LOCKED = {"LOCKED", "STOPPED"}
# The bench looks five times a second whether a unit was taken out. One that is still heard may be the unit of a label that nobody
# answers to, as far as anybody can tell: such a test is STOP.
_NOTICED_WITHIN = 2.0


@dataclass
class Log:
    """`line.jsonl` as it grows: what it has is on the disk, and what was written last may not be whole yet."""

    path: Path
    events: list[dict[str, Any]] = field(default_factory=list)
    _read: int = 0

    def look(self) -> None:
        if not self.path.exists():
            return
        with self.path.open("rb") as file:
            file.seek(self._read)
            for line in file:
                if line.endswith(b"\n"):
                    self._read += len(line)
                    self.events.append(json.loads(line))

    def count(self, kind: str) -> int:
        return len(self.of(kind))

    def texts(self, kind: str) -> list[str]:
        return [event["text"] for event in self.of(kind)]

    def of(self, kind: str) -> list[dict[str, Any]]:
        """The events of one kind."""
        self.look()
        return [event for event in self.events if event["event"] == kind]


@dataclass
class Attempted:
    """A row whose unit was accepted: the key of its test in the log."""

    row: Row
    key: str


@dataclass
class Operator:
    """Takes one row after the other; a slot is used again when the word for its unit was seen."""

    folder: Path
    terminal: LineTerminal
    log: Log
    start: Callable[[], LineTerminal]
    done: list[Attempted] = field(default_factory=list)
    busy: dict[str, Attempted] = field(default_factory=dict)
    seen: list[Row] = field(default_factory=list)  # with the word that was on the screen
    waiting: list[Row] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Deed):
            getattr(self, f"_{entry.verb}")(entry)
        else:
            self._row(entry)

    # --- units

    def _row(self, row: Row) -> None:
        self._until_free(row.slot)
        if row.then or row.reference or row.word == "refused":
            self._wait()
        if row.inside == "-" and row.slot in SHARED:
            self._wait()
            time.sleep(_NOTICED_WITHIN)
        put_in(self.folder, row.slot, row.inside, row.serial)
        began, refused = self.log.count("unit"), self.log.count("refused")
        for text in filter(None, (f"SLOT-{row.slot}", row.said, label_of(row.serial))):
            self.terminal.scan(text)
        if row.word == "refused":
            self._is_refused(row, refused)
            return
        if "waits" in row.then:
            self.terminal.until(lambda: label_of(row.serial) in self.log.texts("scan"), f"{row} is read")
            assert self.log.count("unit") == began, row
            self.waiting.append(row)
            return
        for what, question in (("changed", "was changed"), ("caution", CAUTION)):
            if what in row.then:
                self._answer(question, "yes")
        self._accepted(row, began)
        self._then(row)

    def _accepted(self, row: Row, before: int) -> None:
        self.terminal.until(lambda: self.log.count("unit") > before, f"{row} is accepted")
        accepted = self.log.of("unit")[before]
        assert (accepted["slot"], accepted["barcode"]) == (row.slot, label_of(row.serial)), row
        self.busy[row.slot] = Attempted(row, accepted["key"])

    def _then(self, row: Row) -> None:
        """What is done while the unit is tested."""
        if not {"yes", "no", "pulled", "cut"}.intersection(row.then):
            return
        self.terminal.until(lambda: QUESTION in self.terminal.text, f"{row} is asked about")
        if "cut" in row.then:
            self._cut()
            return
        if "pulled" in row.then:
            pull_out(self.folder, row.slot)
            self.terminal.until(lambda: QUESTION not in self.terminal.text, f"the question about {row} is closed")
            return
        if row.slot in SHARED:
            self.terminal.until(
                lambda: f"scan the label of {row.serial}, the unit" in self.terminal.text, "what to scan"
            )
            self.terminal.scan(label_of(row.serial))
        self._answer(QUESTION, "no" if "no" in row.then else "yes")

    def _answer(self, question: str, answer: str) -> None:
        """A question is on the screen for a moment before it takes an answer."""
        self.terminal.until(lambda: question in self.terminal.text, f"the question '{question}'")
        self.terminal.until(lambda: "answer: yes / no" in self.terminal.text, "that it may be answered")
        self.terminal.scan(answer)

    def _is_refused(self, row: Row, before: int) -> None:
        self.terminal.until(lambda: self.log.count("refused") > before, f"{row} is refused")
        self.terminal.until(lambda: row.serial in self.terminal.text, f"{row} is named on the screen")
        self._take_out(row.slot)

    def _until_free(self, slot: str) -> None:
        if slot in self.busy:
            self._verdict(self.busy[slot])

    def _verdict(self, tested: Attempted) -> None:
        """Until the unit is judged: then the screen has the word of its row, beside its serial number, in its slot."""
        row = tested.row
        self.terminal.until(lambda: self._ended(tested.key), f"{row} is judged")
        if row.slot in SHARED:
            self.terminal.until(lambda: self._panel(row.slot).word == "SCAN", f"{row} is to be taken out")
            self.terminal.scan(label_of(row.serial))
        self.terminal.until(lambda: self._has_word(row), f"a word for {row}")
        shown = self._panel(row.slot)
        if shown.word != row.word:
            self.wrong.append(f"{row}: {shown.word} on the screen, expected {row.word}: {shown.text}")
        said = "wrong label" if row.step == WRONG and row.inside.startswith("as ") else row.step
        if self._says_step(row) and not self.terminal.soon(lambda: said in self._panel(row.slot).text):
            self.wrong.append(f"{row}: '{said}' is not on the screen: {shown.text}")
        self._take_out(row.slot)
        self.done.append(tested)
        self.seen.append(replace(row, word=shown.word))

    def _says_step(self, row: Row) -> bool:
        """Not where the whole line is stopped: the slots have hardly any room then."""
        return row.word == "FAIL" and not row.reference and not LOCKED & large_words(self.terminal.lines)

    def _take_out(self, slot: str) -> None:
        self.busy.pop(slot, None)
        pull_out(self.folder, slot)

    def _ended(self, key: str) -> dict[str, Any] | None:
        return next((each for each in self.log.of("unit ended") if each["key"] == key), None)

    def _has_word(self, row: Row) -> bool:
        """That of the row: the one before it in this slot may be on the screen for a moment."""
        seen, ended = self._panel(row.slot), self._ended(self.busy[row.slot].key)
        return row.serial in seen.text and ended is not None and seen.word == ended["word"]

    def _panel(self, slot: str) -> Panel:
        return panel(self.terminal.lines, slot, self.terminal.screen.columns)

    # --- what is done or seen between them

    def _wait(self, deed: Deed | None = None) -> None:
        for slot in [*self.busy]:
            self._verdict(self.busy[slot])
        expected = sums(self.seen).figures
        self.terminal.until(lambda: self._shows(expected), f"the figures {expected}")

    def _shows(self, expected: dict[str, str]) -> bool:
        """Where room is short some are left out, but never the first ones."""
        found = self._figures()
        return found.items() <= expected.items() and found.keys() >= {"judged", "first pass"}

    def _figures(self) -> dict[str, str]:
        return figures("\n".join(line for line in self.terminal.lines if "first pass" in line))

    def _put(self, deed: Deed) -> None:
        slot, _, inside = deed.text.partition(" ")
        put_in(self.folder, slot, inside, "")

    def _type(self, deed: Deed) -> None:
        """A badge is asked for before it is scanned."""
        if deed.text in (BADGE, OTHER_BADGE):
            self.terminal.until(lambda: "badge" in self.terminal.text, "the question who it is")
            if "question" in self.terminal.text:
                self.terminal.until(lambda: "scan the answer" in self.terminal.text, "that it may be answered")
        self.terminal.scan(deed.text)

    def _refused(self, deed: Deed) -> None:
        before = self.log.count("refused")
        self.terminal.scan("L" * 10_240 if deed.text == "LLLL…" else deed.text.replace("\\x03", "\x03"))
        self.terminal.until(lambda: self.log.count("refused") > before, f"{deed.text} is refused")

    def _locked(self, deed: Deed) -> None:
        self._wait()
        self.terminal.until(lambda: "LOCKED" in large_words(self.terminal.lines), "LOCKED")

    def _stopped(self, deed: Deed) -> None:
        self.terminal.until(lambda: "STOPPED" in large_words(self.terminal.lines), "STOPPED")

    def _ready(self, deed: Deed) -> None:
        """What waited is tested now, once its label is scanned again."""
        self._wait()
        self.terminal.until(lambda: not LOCKED.intersection(large_words(self.terminal.lines)), "the line is ready")
        for row in self.waiting:
            assert row.serial not in self._accepted_serials(), f"{row} began by itself"
            self.terminal.scan(label_of(row.serial))
            self.terminal.until(lambda row=row: row.serial in self._accepted_serials(), f"{row} is accepted")  # type: ignore[misc]
            self._accepted(row, self._accepted_serials().index(row.serial))
        self.waiting.clear()

    def _accepted_serials(self) -> list[str]:
        return [event["serial"] for event in self.log.of("unit")]

    def _cleaned(self, deed: Deed) -> None:
        """What the power cut has left."""
        self._answer(f"{deed.text} was cut off", "yes")
        self.terminal.until(lambda: self.log.count("cleaned up"), "the clean-up is done")

    def _programmer(self, deed: Deed) -> None:
        programmer(self.folder, there=deed.text == "back")

    def _changed(self, deed: Deed) -> None:
        file = self.folder / "line.yaml"
        file.write_text(file.read_text(encoding="utf-8").replace("takt: 30 s", "takt: 25 s"), encoding="utf-8")

    def _cut(self) -> None:
        """The power fails, and comes back."""
        self.terminal.close()
        self.busy.clear()
        self.terminal = self.start()
        self.terminal.until(
            lambda: "P-0007" not in self.terminal.text and "badge" in self.terminal.text, "the question who it is"
        )

    def _end(self, deed: Deed) -> None:
        self.terminal.scan("END")

    def close(self) -> None:
        self.terminal.close()
