"""Whether this station can test: each radio looked at step by step, with what to do about every 'no'.

What may crash or hang (USB, D-Bus, opening a port, a system that ends whatever asks for Bluetooth) happens in a process
of its own, `python -m benchrig.desk.probing`, which says what it is about to do before it does it.
"""

from __future__ import annotations

import asyncio
import contextlib
import platform
import signal
import sys
import tempfile
from collections.abc import AsyncIterator, Callable, Sequence
from importlib import metadata
from typing import IO, TYPE_CHECKING, Literal

import msgspec
from msgspec.structs import replace

from benchrig import __version__
from benchrig.run.loop import in_loop, interruptible
from benchrig.source.problem import counted

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.radio.port.opening import OpenPort
    from benchrig.radio.radio import Radio
    from benchrig.radio.scan import Ear, Sighting
    from benchrig.radio.specify import RadioChoice
    from benchrig.radio.virtual.device_spec import Simulated

State = Literal["yes", "no", "unknown"]
# A step that is silent for longer hangs: opening a controller and asking it have 10 s each.
PATIENCE = 25.0
# Of the devices of a virtual radio that are heard, and of those that are not.
SHOWN_DEVICES = 5
# A device is silent when so many of its advertising events were missed.
EVENTS = 3
# A process that was told to end.
END_WITHIN = 5.0


class Check(msgspec.Struct, tag="check", tag_field="kind", frozen=True):
    """One question about a radio. `blocks`: with this answer nothing can be tested over it."""

    radio: str
    check: str
    state: State
    found: str
    advice: str = ""
    blocks: bool = False


class Beginning(msgspec.Struct, tag="beginning", tag_field="kind", frozen=True):
    """A check that is about to be made."""

    radio: str
    check: str


class Attached(msgspec.Struct, tag="attached", tag_field="kind", frozen=True):
    """A controller of its own that --radio could name, or why none of its kind could be listed; `usable` says whether
    this user may open it, None where that is not known."""

    radio: str
    what: str
    usable: bool | None = None
    advice: str = ""


Word = Check | Beginning | Attached
Heard = Callable[[Check | Attached], None]


class Station:
    """What was found, radio by radio."""

    def __init__(self, heard: Heard = lambda _: None) -> None:
        self.checks: list[Check] = []
        self.attached: list[Attached] = []
        self._heard = heard

    def add(self, word: Check | Attached) -> None:
        if isinstance(word, Check):
            self.checks.append(word)
        else:
            self.attached.append(word)
        self._heard(word)

    @property
    def radios(self) -> list[str]:
        return list(dict.fromkeys(check.radio for check in self.checks))

    def blocked(self, radio: str) -> Check | None:
        """What keeps this radio from being used."""
        return next((check for check in self.checks if check.radio == radio and check.blocks), None)

    @property
    def ready(self) -> list[str]:
        """The radios over which can be tested; not the system's as a whole where its adapters are named."""
        whole = {radio.partition(":")[0] for radio in self.radios if radio.startswith("host:")}
        return [radio for radio in self.radios if radio not in whole and self.blocked(radio) is None]


def probe_command(what: str, detail: str, listen: float) -> list[str]:
    """What looks at 'host', 'hci' or 'attached' in a process of its own."""
    return [sys.executable, "-m", "benchrig.desk.probing", what, detail, str(listen)]


async def probe(command: Sequence[str], radio: str, station: Station, patience: float = PATIENCE) -> None:
    """Let a process look, and add what it says; a process that hangs or dies is a 'no' of the check it was at."""
    at = Beginning(radio, "look")
    with tempfile.TemporaryFile() as errors:
        async with _process(command, errors) as process:
            try:
                async for word in _words(process, patience):
                    if isinstance(word, Beginning):
                        at = word
                    else:
                        station.add(word)
            except TimeoutError:
                process.kill()
                station.add(_silent(at, patience))
                return
        if process.returncode:
            station.add(_died(at, process.returncode, errors))


@contextlib.asynccontextmanager
async def _process(command: Sequence[str], errors: IO[bytes]) -> AsyncIterator[asyncio.subprocess.Process]:
    process = await asyncio.create_subprocess_exec(
        *command, stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=errors
    )
    try:
        yield process
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(END_WITHIN):
                await process.wait()
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


async def _words(process: asyncio.subprocess.Process, patience: float) -> AsyncIterator[Word]:
    """What it says, until it closes its output. TimeoutError."""
    assert process.stdout is not None
    while True:
        async with asyncio.timeout(patience):
            line = await process.stdout.readline()
        if not line:
            return
        with contextlib.suppress(msgspec.DecodeError):  # what a library prints is none of it
            yield msgspec.json.decode(line, type=Word)


def _silent(at: Beginning, patience: float) -> Check:
    return Check(
        at.radio, at.check, "no", f"no answer within {patience:g} s", "restart what is asked here", blocks=True
    )


def _died(at: Beginning, code: int, errors: IO[bytes]) -> Check:
    """A crash is told by its signal, a mistake of ours by its last line."""
    errors.seek(0)
    said = errors.read().decode("utf-8", "replace").strip().splitlines()
    ended = f"signal {_signal(-code)}" if code < 0 else f"exit code {code}"
    found = f"the process that looked ended with {ended}" + (f": {said[-1]}" if said else "")
    # macOS ends a process that uses Bluetooth without the user's leave
    refused = sys.platform == "darwin" and code == -signal.SIGABRT
    advice = "allow this terminal the use of Bluetooth in the privacy settings" if refused else "see the system's log"
    return Check(at.radio, at.check, "no", found, advice, blocks=True)


def _signal(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return str(number)


def versions() -> dict[str, str]:
    """Of what testing rests on; that of BlueZ stands in its check."""
    found = {"benchrig": __version__, "python": platform.python_version()}
    for package in ("bleak", "bumble"):
        found[package] = metadata.version(package)
    return found | {"system": f"{platform.system()} {platform.release()}"}


async def survey(choice: RadioChoice | None, station: Station, listen: float) -> None:
    """Look at a radio of this machine; for None at every adapter, and for what else is attached."""
    if choice is None:
        await probe(probe_command("host", "*", listen), "host", station)
        await probe(probe_command("attached", "", listen), "hci", station)
    else:
        await probe(probe_command(choice.kind, choice.adapter, listen), str(choice), station)


def attend(choice: RadioChoice | None, station: Station, listen: float) -> None:
    """Do the survey in a loop of its own; a signal ends it and the processes that look. OperatorError."""
    in_loop(interruptible(survey(choice, station, listen)), None)


def unfit_stack(radio: str) -> Check | None:
    """What the installed bumble lacks; None when it is as benchrig needs it."""
    from benchrig.radio.bumble_stack.bumble_check import INSTALL, check_api, check_text

    wrong = check_api()
    return Check(radio, "bumble", "no", check_text(wrong), INSTALL, blocks=True) if wrong else None


async def look_at_devices(desk: Desk, station: Station, listen: float) -> None:
    """The devices of a virtual radio and the hosts on its ports: each has to be heard. The first ones are named, the
    others counted."""
    from benchrig.radio.virtual import load_devices
    from benchrig.source.problem import Problems

    models = load_devices(desk.options.choice.files, Problems())
    radio = desk.radio.name
    if models:
        station.add(Check(radio, "device files", "yes", f"{counted(len(models), 'device')}"))
    async with desk.listening() as ear:
        await asyncio.sleep(listen)
    checks = [
        _device(radio, one.name, ear.heard.get((one.own_address, one.own_address_type)), listen, _unheard(one, listen))
        for one in models
    ]
    checks += [_host(radio, number, one, ear, listen) for number, one in enumerate(_ports(desk.radio), 1)]
    silent, heard = ([check for check in checks if check.blocks is blocks] for blocks in (True, False))
    for alike, what in ((silent, "were not heard"), (heard, "were heard")):
        for check in alike[:SHOWN_DEVICES]:
            station.add(check)
        if (more := len(alike) - SHOWN_DEVICES) > 0:
            station.add(replace(alike[-1], check="others", found=f"{more} more {what}"))


def _unheard(one: Simulated, listen: float) -> str:
    """What to do about a device that is not heard: a slow one may only need time."""
    patience = EVENTS * one.advertised.interval
    if listen < patience:
        return f"it advertises every {one.advertised.interval:g} s: write --listen '{patience:g} s'"
    return "see 'advertising' and 'faults' in its file"


def _ports(radio: Radio) -> list[OpenPort]:
    from benchrig.radio.port.radio import PortedRadio

    return radio.ports.ports if isinstance(radio, PortedRadio) else []


def _host(radio: str, number: int, one: OpenPort, ear: Ear, listen: float) -> Check:
    """What is known of the host on a port: whether it came, and whether it is heard."""
    name = f"port {number}"
    trouble = one.port.refused or one.lacking() or one.crash() or one.port.gone() or one.silence()
    if trouble is not None:
        return Check(radio, name, "no", trouble.message, trouble.advice, blocks=True)
    if not one.port.has_host:
        return Check(
            radio,
            name,
            "no",
            f"no firmware connected to {one.port.name} within {listen:g} s",
            "start the firmware",
            blocks=True,
        )
    addresses = one.port.controller.addresses
    heard = next((sighting for (address, _), sighting in ear.heard.items() if address in addresses), None)
    return _device(radio, name, heard, listen, "check that its firmware still advertises")


def _device(
    radio: str,
    name: str,
    heard: Sighting | None,
    listen: float,
    advice: str,
) -> Check:
    if heard is None:
        found = f"{name} was not heard in {listen:g} s"
        return Check(radio, name, "no", found, advice, blocks=True)
    interval = "" if heard.interval is None else f", every {1000 * heard.interval:.0f} ms"
    return Check(radio, name, "yes", f"heard at {heard.level_text}{interval}")
