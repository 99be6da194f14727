"""How devices are looked at for a draft or a twin: options that both commands share, and what has to hold of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchrig.cli.completing import attributes_option
from benchrig.cli.desk import at_desk, known_names
from benchrig.cli.groups import Command, grouped
from benchrig.cli.options import acknowledge_option, option
from benchrig.cli.try_write import ask, caution_of, try_write_option
from benchrig.cli.types import Time, Whole
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.draft.evidence import Evidence


@dataclass(frozen=True)
class CollectingWords:
    """The options as they were typed."""

    repeat: int
    listen: float
    skip: tuple[str, ...]
    try_write: tuple[str, ...]
    acknowledge: bool

    def check(self, desk: DeskOptions) -> None:
        """UsageError for what does not go together."""
        if self.listen <= 0:
            raise UsageError("--listen must be more than 0 s", advice="for example: --listen 5s")
        if self.try_write and desk.pair is None:
            raise UsageError("--try-write goes with --pair", advice="for example: --pair keyboard")

    def evidence(self, desk: DeskOptions, **how: Any) -> Evidence:
        """What the devices show; `how` are further fields of Collecting."""
        known_names(desk, [*self.skip, *self.try_write])
        caution = caution_of(self.try_write, self.acknowledge)

        async def look(at: Desk) -> Evidence:
            from benchrig.draft.from_devices import Collecting, collect

            await ask(caution)
            return await collect(at, Collecting(self.repeat, self.listen, skip=self.skip, writes=self.try_write, **how))

        return at_desk(desk, look)


def collecting_options(repeat: str) -> Callable[[Command], Command]:
    """`repeat` is the help of --repeat."""
    return grouped(
        option("--repeat", type=Whole(1, 1000), default=2, help=repeat),
        option("--listen", type=Time(), default="5 s", help="How long to listen to each characteristic that sends."),
        attributes_option("--skip", help="Leave this attribute alone; may be given several times."),
        try_write_option("With --pair: write its own value to this attribute over each link, to see what that needs"),
        acknowledge_option(),
        to="looks",
        make=CollectingWords,
    )


def text_or_json(target: Path | None, *, as_json: bool, what: str, advice: str) -> bool:
    """Whether the text goes to the standard output. UsageError where JSON would too."""
    to_output = str(target) == "-"
    if to_output and as_json:
        raise UsageError(f"the standard output takes the {what} (-o -) or JSON, not both", advice=advice)
    return to_output
