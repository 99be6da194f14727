"""The line that shows where a run is, on a terminal only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.record.model import AnyEvent, AttemptFailed, RunStarted, StepEnded, StepStarted

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status


class Progress:
    """Follows the events of a run."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._status: Status | None = None
        self._names: dict[int, str] = {}
        self._text = ""

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, RunStarted):
            self._names = {step.number: step.name for step in event.steps}
        elif isinstance(event, StepStarted):
            self._names[event.step] = event.name or self._names.get(event.step, "")
            self._show(f"step {event.step} of {len(self._names)}: {self._names.get(event.step, '')}")
        elif isinstance(event, AttemptFailed):
            self._show(f"{self._text}, attempt {event.attempt + 1}")
        elif isinstance(event, StepEnded) and event.verdict in ("fail", "error"):
            self.hide()
            self._console.print(f"step {event.step} {self._names.get(event.step, '')}: {event.verdict}", markup=False)

    def hide(self) -> None:
        if self._status is not None:
            self._status.stop()
            self._status = None

    def _show(self, text: str) -> None:
        from rich.text import Text

        self._text = text
        if self._status is None:
            self._status = self._console.status(Text(text))
            self._status.start()
        else:
            self._status.update(Text(text))
