"""Which question somebody at the screen had time to read: what is typed before that answers none."""

from __future__ import annotations

# A question is shown so long before an answer to it may begin, in seconds of a clock that never goes back: nobody reads
# one in less, and a label or a key that is pressed twice comes sooner.
READ = 0.7


class Seen:
    """Questions by their number; 0 is none."""

    def __init__(self) -> None:
        self._number, self._since = 0, 0.0
        self._begun = 0

    def drawn(self, number: int, now: float, *, late: bool = False) -> None:
        """This one is on the screen. What was drawn reaches nobody while the terminal is `late` with it."""
        if number != self._number or (late and not self.at(now)):
            self._number, self._since = number, now

    def at(self, now: float) -> int:
        """The question that is read by now; 0 while that on the screen is too new."""
        return self._number if now - self._since >= READ else 0

    def begins(self, now: float) -> None:
        """A line begins: from here on it is what somebody says who saw this."""
        self._begun = self.at(now)

    @property
    def before_line(self) -> int:
        """The question that was read when the line was begun."""
        return self._begun
