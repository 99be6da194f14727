"""What the commands for a device on the desk share: which radio, which device, what its attributes are called."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Coroutine, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from benchrig.cli.groups import Command, RadioWords, grouped, radio_options
from benchrig.cli.options import Decorator, flag, option, path_option, real_time_option, seed_option
from benchrig.cli.out import tell
from benchrig.cli.types import Decibels, Time
from benchrig.errors import OperatorError
from benchrig.radio.security import CAPABILITIES

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.radio.scan import Selection
    from benchrig.radio.security import Capability
    from benchrig.steps.attribute import Names
    from benchrig.values.format import Format

T = TypeVar("T")

_NAMELESS = (
    "give its UUID or handle ('handle 0x0012'), or bring the names of a plan, or of a file of names, with --plan FILE"
)


def _device_options(*more: Decorator) -> Callable[[Command], Command]:
    """Radio and device; the command gets them as `desk`, a DeskOptions."""
    named = grouped(
        option("-d", "--device", metavar="DEVICE", help="Name (with * and ?) or address; may be left out when one device is heard."),
        option("--service", "services", multiple=True, metavar="SERVICE", help="Take a device that advertises this service (name or UUID)."),
        option("--manufacturer", metavar="HEX", help="Take a device that advertises data of this company identifier."),
        option("--rssi-min", type=Decibels("dBm"), help="Take a device that is received at least this strong."),
        option("--nearest", type=Decibels("dB"), help="Take the strongest device, if it leads the next by this many dB."),
        path_option("-p", "--plan", metavar="PLAN", help="Take the names of attributes, and the device, from this plan; it needs no steps. A file of names, or a device file, has names alone."),
        option("--within", type=Time(), default="15 s", help="Time to find the device and connect."),
        seed_option(),
        real_time_option(),
        path_option("--station", help="Station file: bonds are those of the station that it names. Default: this computer."),
        path_option("--capture", help="Capture the HCI traffic of a virtual or hci radio (btsnoop). It holds pairing keys and secret values: treat it as secret."),
        *more,
        to="desk",
        make=_options,
        takes=("radio",),
    )  # fmt: skip
    radio = radio_options(default="host", envvar="BENCHRIG_RADIO", show_envvar=True)
    return lambda command: radio(named(command))


def _options(
    *, radio: RadioWords, plan: Path | None, within: float, seed: int, real_time: bool, capture: Path | None,
    station: Path | None, fresh: bool = False, pair: Capability | None = None, **which: Any,
) -> DeskOptions:  # fmt: skip
    from benchrig.desk.desk import DeskOptions
    from benchrig.station.station import load_station

    choice, names = radio.choice(), plan_names(plan)
    return DeskOptions(
        choice, _selection(plan, names, **which), names, within, seed, capture, real_time, fresh,
        pair, load_station(station).station,
    )  # fmt: skip


device_options = _device_options(
    option("--pair", type=click.Choice(CAPABILITIES), help="Pair with the device, as what can do this; a bond that the station has is used. A passkey is asked for."),
    flag("--fresh", help="Let the system forget the device first, a pairing with it too: its table is read anew."),
)  # fmt: skip
listening_options = _device_options()


def caution_at_hand() -> str:
    """The caution of the plan on the command line, '' without one."""
    from benchrig.plan.brought import bring

    plan = click.get_current_context().params.get("plan")
    return bring(plan).caution if plan else ""


def forbidden_here() -> Sequence[str]:
    """What the station on the command line forbids."""
    from benchrig.station.station import load_station

    return load_station(click.get_current_context().params.get("station")).forbid


def not_acknowledged() -> OperatorError:
    """Of a write that is asked for where nobody can answer."""
    return OperatorError(
        "write not acknowledged (no terminal); nothing was sent", advice="run it at a terminal, or add --acknowledge"
    )


def plan_names(plan: Path | None) -> Names:
    """The names of a plan or another file, or the assigned ones alone."""
    from benchrig.plan.brought import bring
    from benchrig.steps.attribute import Names

    return bring(plan).names if plan else Names(advice=_NAMELESS)


def _selection(
    plan: Path | None, names: Names, *, device: str | None, services: tuple[str, ...], manufacturer: str | None,
    **levels: Any,
) -> Selection:  # fmt: skip
    """`levels` are rssi_min and nearest."""
    from benchrig.plan.brought import bring
    from benchrig.radio.scan import Selection, is_address
    from benchrig.source.shape import misfit_is_usage

    if plan and not (device or services or manufacturer) and (planned := bring(plan).selection()) is not None:
        return planned
    with misfit_is_usage():
        said: dict[str, Any] = {"address" if is_address(device) else "name": device} if device is not None else {}
        wanted, company = tuple(map(names.service, services)), _company(manufacturer)
        return Selection(**said, services=wanted, manufacturer=company, **levels)


def _company(text: str | None) -> int | None:
    from benchrig.source.shape import Misfit

    if text is None:
        return None
    number = -1
    with contextlib.suppress(ValueError):
        number = int(text, 16)
    if not 0 <= number <= 0xFFFF:
        raise Misfit(f"'{text}' is not a company identifier", "four hex digits, for example: --manufacturer FFFF")
    return number


def known_names(desk: DeskOptions, attributes: Iterable[str]) -> None:
    """See that the names mean something, before the radio is asked for anything. UsageError."""
    from benchrig.source.shape import misfit_is_usage

    for name in attributes:
        with misfit_is_usage():
            desk.names.meaning(name)


def at_desk(desk: DeskOptions, work: Callable[[Desk], Coroutine[Any, Any, T]]) -> T:
    """Do the work, with notes on stderr; on a terminal a line there says what is being waited for. What ran on a
    virtual radio is said to be simulated."""
    from benchrig.cli.pairing import party_here
    from benchrig.desk.running import run_desk
    from benchrig.terminal.waiting import status_line

    if desk.choice.simulated:
        tell("SIMULATED this runs on a virtual radio")
    with status_line() as doing:
        return run_desk(desk, work, tell, doing, party_here(lambda: doing("")))


# The options that say how a value reads, as benchrig.desk.typed_format knows them; --help must not load that.
FORMAT_OPTIONS = {
    "--as": ("FORMAT", "Format of the value: uint8, sint16, utf8, hex, … or the standard name of a characteristic or descriptor."),
    "--scale": ("NUMBER", "Value of one step of the number in --as: 0.01"),
    "--offset": ("NUMBER", "What is added to the scaled number in --as: -40"),
    "--unit": ("UNIT", "Unit of the value in --as: °C, mV, …"),
    "--order": ("little|big", "Byte order of the number in --as. Default: little."),
    "--length": ("NUMBER", "Bytes of the text or of the bytes in --as, where their number is fixed."),
    "--part": ("PATTERN", "Regular expression with a named group that takes the number of --as decimal out of its text."),
    "--valid-min": ("NUMBER", "The least valid value of the number in --as."),
    "--valid-max": ("NUMBER", "The greatest valid value of the number in --as."),
    "--rfu": ("NUMBER", "Bits of the number in --as that must be 0: 0xF0"),
}  # fmt: skip


def _format(**given: str | None) -> Format | None:
    """The format that these options make; None without any. UsageError when they make none."""
    from benchrig.desk.typed_format import typed_format
    from benchrig.source.shape import misfit_is_usage
    from benchrig.values.format import build_format

    options = {name: given[_argument(name)] for name in FORMAT_OPTIONS}
    with misfit_is_usage():
        spec = typed_format({name: text for name, text in options.items() if text is not None})
        return build_format(spec) if spec else None


def _argument(option: str) -> str:
    return f"format_{option.strip('-').replace('-', '_')}"


def _format_option(name: str, metavar: str, help: str) -> Decorator:
    choices = click.Choice(metavar.split("|")) if "|" in metavar else None
    return option(name, _argument(name), type=choices, metavar=None if choices else metavar, help=help)


# The command gets its Format, or None, as `form`.
format_options = grouped(
    *(_format_option(name, *each) for name, each in FORMAT_OPTIONS.items()), to="form", make=_format
)
