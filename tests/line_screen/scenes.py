"""What a line may look like, as views; and the screens of these, which are kept as text beside this file.

python -m tests.line_screen.scenes      write the screens anew: look at them before they land
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchrig.line.view import Asked, Counts, LastUnit, LineView, SlotView, Word
from benchrig.line_screen.layout import drawn

NOW = datetime(2026, 11, 27, 14, 3, tzinfo=UTC)
FOLDER = Path(__file__).parent / "screens"
SIZES = ((80, 24), (160, 45))


def judged(name: str, word: Word, says: str = "", do: str = "Take it out.", **more: Any) -> SlotView:
    return SlotView(name, "ended", word, f"VFL3-00001{name}", "logger", says=says, do=do, **more)


PASSED = judged("1", "PASS")
FAILED = judged("3", "FAIL", "Sleep current: 5.1 mA, expected at most 3 mA", "Put it into the red box.")
STOPPED = judged("4", "STOP", "The radio 'left' was unplugged", "Plug it in. Scan the label again.")
RUNNING = SlotView("2", "running", "", "VFL3-000012", step="read battery level", done=3, of=12, seconds=4.2)
FREE = SlotView("5", says="", do="")
PROVING = SlotView("6", "proving", serial="VFL3-000016")
HELD = SlotView("7", "ended", serial="VFL3-000017", release=True, do="Take it out and scan its label.")
FOUR = (PASSED, RUNNING, FAILED, STOPPED)
EIGHT = (*FOUR, FREE, PROVING, HELD, judged("8", "PASS"))
QUESTION = Asked("Does the lamp of the unit blink green?", "2", ("yes", "no"), 42.0)
CAUTION = Asked(
    "The plan 'Logger, end of line' says: the heater of the fixture becomes as hot as 60 °C. Keep the lid closed, wear gloves, "
    "and let nobody reach in before the verdict. Type 'yes' once you have done so.", options=("yes", "no"), left=590.0,
)  # fmt: skip


def view(*slots: SlotView, **more: Any) -> LineView:
    ended: tuple[Word, ...] = ("PASS", "FAIL", "STOP", "PASS", "PASS", "PASS")
    last = tuple(LastUnit(NOW, f"VFL3-00000{9 - at}", str(1 + at % 2), word) for at, word in enumerate(ended))
    base: dict[str, Any] = {
        "station": "line 3", "state": "ready", "shift": "2026-11-27 1", "person": "J. Holm",
        "message": "Put a unit into slot 1 and scan its label.", "slots": slots,
        "counts": Counts(41, 39, 2, 1, 3), "takt": 30.0, "last_takt": 32.0, "last": last,
    }  # fmt: skip
    return LineView(**{**base, **more})


_LOCKED: dict[str, Any] = {"state": "locked", "message": "The golden logger is due: begin of the shift."}
SCENES: dict[str, LineView] = {
    "pass": view(PASSED),
    "fail": view(replace(FAILED, name="1")),
    "stop": view(replace(STOPPED, name="1")),
    "waiting": view(SlotView("1")),
    "running": view(replace(RUNNING, name="1")),
    "golden due": view(SlotView("1"), **_LOCKED, do="Put it into slot 1 and scan its label."),
    "locked": view(
        judged("1", "STOP", "read battery level: 71 %, expected at least 90 %", purpose="golden"), state="locked",
        message="The golden logger did not do what it must.", do="Call the supervisor. Test the golden logger again.",
    ),
    "stopped": view(
        *FOUR[:2], state="stopped", message="The line stopped: three station errors in a row.", do="Scan CLEAR, then a badge.",
    ),
    "question": view(*FOUR, state="question", asked=QUESTION),
    "caution": view(*FOUR[:2], state="question", asked=CAUTION),
    "refused": view(
        *FOUR, refused=True, message="VFL3-000015 passed today at 13:58",
        do="put the unit aside if it is another one: two have this label; if it was repaired since, scan REPAIRED first",
    ),
    "person": view(SlotView("1"), state="person", person="", message="Who is on shift? Scan a badge, or type a name."),
    "rehearsal": view(PASSED, rehearsal=True),
    "four": view(*FOUR),
    "four, rehearsal": view(*FOUR, rehearsal=True),
    "four, rehearsal, locked": view(*FOUR, rehearsal=True, **_LOCKED, do="Scan its label."),
    "eight": view(*EIGHT, waiting=("VFL3-000020", "VFL3-000021"), notes=("3 runs wait for the history",)),
    "eight, rehearsal": view(*EIGHT, rehearsal=True),
}  # fmt: skip


def screen(shown: LineView, width: int, height: int, typed: str = "VFL3-0000", *, ascii_only: bool = False) -> str:
    lines = drawn(shown, typed, width, height, NOW, ascii_only=ascii_only)
    return "".join("".join(text for text, _ in line).rstrip() + "\n" for line in lines)


def kept(name: str, width: int, height: int) -> Path:
    return FOLDER / f"{name}, {width}x{height}.txt"


if __name__ == "__main__":
    for scene, shown in SCENES.items():
        for size in SIZES:
            kept(scene, *size).write_text(screen(shown, *size), encoding="utf-8")
