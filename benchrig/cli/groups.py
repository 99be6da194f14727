"""Options that belong together: declared once, and handed to a command as one argument."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import Decorator

if TYPE_CHECKING:
    from benchrig.radio.specify import RadioChoice

Command = TypeVar("Command", bound=Callable[..., Any])


def grouped(
    *options: Decorator, to: str, make: Callable[..., Any], takes: tuple[str, ...] = ()
) -> Callable[[Command], Command]:
    """A decorator that adds the options to a command, which gets as `to` what `make` makes of them, and of what other
    groups have made (`takes`)."""

    def decorate(command: Any) -> Any:
        @functools.wraps(command)
        def with_group(**words: Any) -> Any:
            own = {name: words.pop(name) for name in names}
            with errors_for_people():
                return command(**{to: make(**own)}, **words)

        before = len(getattr(command, "__click_params__", ()))
        for each in reversed(options):
            each(with_group)
        names = [*(str(added.name) for added in with_group.__click_params__[before:]), *takes]  # type: ignore[attr-defined]
        return with_group

    return decorate


# --- the radio

RADIO_HELP = (
    "The radio: host or host:ADAPTER (the operating system's Bluetooth), hci:usb:N, "
    "hci:serial:PORT[,SPEED] or hci:tcp:HOST:PORT (a dedicated HCI controller), or virtual:FILE[,FILE…] (simulated devices)."
)
AIRS = ("kind", "rough", "crowded", "far")


@dataclass(frozen=True)
class RadioWords:
    """The radio as it was typed."""

    radio: str | None
    ports: tuple[str, ...]
    starts: tuple[str, ...]
    air: str | None

    @property
    def are_given(self) -> bool:
        return self.radio is not None or bool(self.ports or self.starts or self.air)

    def choice(self, otherwise: str = "") -> RadioChoice:
        """With the radio that counts where none was named."""
        from benchrig.radio.specify import RadioChoice

        return RadioChoice.parse(self.radio or otherwise or "host", self.ports, self.starts, self.air)


def radio_options(*, help: str = RADIO_HELP, **how: Any) -> Callable[[Command], Command]:
    """Which radio, as `radio`."""
    return grouped(
        click.option("--radio", metavar="RADIO", help=help, **how),
        click.option(
            "--port",
            "ports",
            multiple=True,
            metavar="PORT",
            help="An HCI port of the virtual radio for a firmware that runs on this computer: tcp:HOST:NUMBER or "
            "pty:PATH; may be given several times.",
        ),
        click.option(
            "--start",
            "starts",
            multiple=True,
            metavar="COMMAND",
            help="Run this beside the port, and end it afterwards; {port} in it becomes the port's address. The second "
            "command is for the second port, and so on.",
        ),
        click.option(
            "--air",
            type=click.Choice(AIRS),
            help="The air of a virtual radio: kind, rough as at a bench, crowded as in a hall full of units, or far as "
            "at the edge of the range. Default: what its device files say, else kind.",
        ),
        to="radio",
        make=RadioWords,
    )
