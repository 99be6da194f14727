"""The line that shows where a run is, on a terminal only."""

from __future__ import annotations

from benchrig.record.model import AnyEvent, AttemptFailed, Closed, Opened, RunStarted
from benchrig.terminal.waiting import StatusLine

_LONGEST = 1000


class Progress(StatusLine):
    """Follows the events of a run."""

    def __init__(self) -> None:
        super().__init__(_LONGEST)
        self._names: dict[str, str] = {}
        self._words = ""

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, RunStarted):
            self._names = {node.id: node.name for node in event.nodes}
        elif isinstance(event, Opened):
            name = self._names[event.where.node] = event.name or self._names.get(event.where.node, "")
            self._words = f"step {event.where.label} of {len(self._names)}: {name}"
            self.show(self._words)
        elif isinstance(event, AttemptFailed):
            self.show(f"{self._words}, attempt {event.where.attempt + 1}")
        elif isinstance(event, Closed) and event.verdict in ("fail", "error"):
            self.hide()
            name = self._names.get(event.where.node, "")
            self.console.print(f"step {event.where.label} {name}: {event.verdict}", markup=False)
