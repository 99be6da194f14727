"""The line that shows where a run is, on a terminal only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.record.model import AnyEvent, AttemptFailed, Closed, Opened, RunStarted

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status


class Progress:
    """Follows the events of a run."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._status: Status | None = None
        self._names: dict[str, str] = {}
        self._text = ""

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, RunStarted):
            self._names = {node.id: node.name for node in event.nodes}
        elif isinstance(event, Opened):
            name = self._names[event.where.node] = event.name or self._names.get(event.where.node, "")
            self._show(f"step {event.where.label} of {len(self._names)}: {name}")
        elif isinstance(event, AttemptFailed):
            self._show(f"{self._text}, attempt {event.where.attempt + 1}")
        elif isinstance(event, Closed) and event.verdict in ("fail", "error"):
            self.hide()
            name = self._names.get(event.where.node, "")
            self._console.print(f"step {event.where.label} {name}: {event.verdict}", markup=False)

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
