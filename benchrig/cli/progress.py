"""The line that shows where a run is, on a terminal only."""

from __future__ import annotations

from benchrig.record.model import AnyEvent, AttemptFailed, Closed, Opened, RunStarted
from benchrig.terminal.waiting import StatusLine

_LONGEST = 1000


class Progress:
    """Follows the events of a run."""

    def __init__(self) -> None:
        self._line = StatusLine(_LONGEST)
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
            self._line.console.print(f"step {event.where.label} {name}: {event.verdict}", markup=False)

    def hide(self) -> None:
        self._line.hide()

    def _show(self, text: str) -> None:
        self._text = text
        self._line.show(text)
