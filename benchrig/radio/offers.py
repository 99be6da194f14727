"""What a kind of radio does not offer. Known without opening one, so that `check` can say it.

A limit on such a reading is not judged on that radio: the record and the reports say so, and why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

from benchrig.source.shape import Misfit

if TYPE_CHECKING:
    from benchrig.radio.table import Address

GENERIC_ACCESS = "00001800-0000-1000-8000-00805f9b34fb"
HUMAN_INTERFACE = "00001812-0000-1000-8000-00805f9b34fb"
# ATT errors that BlueZ answers by pairing (0x05, 0x0F; src/shared/att.c, change_security), or tells in other words (0x0C)
PAIRED_OVER = ("insufficient authentication", "insufficient encryption", "encryption key size too short")


class Step(Protocol):
    """A step, as far as it matters here."""

    verb: ClassVar[str]

    @property
    def limits(self) -> Mapping[str, Any]: ...


class Named(Protocol):
    """What a name stands for."""

    @property
    def address(self) -> Address: ...


class Names(Protocol):
    """The names of a plan. Misfit for one that is not known."""

    def meaning(self, name: str) -> Named: ...

    def service(self, name: str) -> str: ...


@dataclass(frozen=True)
class Partly:
    """A reading that a kind of radio has, but not with every step: `when` says in words where it lacks it, `why` the
    reason, and `applies` finds it out."""

    when: str
    why: str
    applies: Callable[[Step, str, Names], bool]


CCCD = "00002902-0000-1000-8000-00805f9b34fb"
NO_CCCD = "the operating system writes the client characteristic configuration itself, and nobody else may"
READ_IS_HEARD = (
    "the operating system delivers what is read as a notification too, so nothing is read from what is listened to"
)
NO_STRANGER = "the operating system has one address for all connections"
NO_CHOICE = "Linux and macOS ask for notifications where a characteristic offers both"

NO_RAW = "the operating system sends no bad requests: it checks or makes each one itself"
ON_OTHER_RADIO = "test this on another radio: --radio hci:…"

# Nobody has seen that Windows and macOS send it; BlueZ 5.66 does, and passes on what the device answers.
NOT_SENT = "the table does not offer this request, and the operating system may refuse it in place of the device"

# kind of step -> why this kind of radio cannot do it at all
CANNOT: dict[str, Mapping[str, str]] = {"host": {"robust": NO_RAW}, "virtual": {}, "hci": {}}

# 'step.reading' -> why this kind of radio has no such reading
_HOST = {
    "scan.interval": "the operating system hides repeated reports of a device, so an interval cannot be measured",
    "scan.count": "the operating system hides repeated reports of a device, so they cannot be counted",
    "scan.data": "the operating system takes the advertising data apart and does not show them whole",
    "scan.scan_response": "the operating system takes the advertising data apart and does not show them whole",
    "scan.directed": "the operating system does not show directed advertising",
    "scan.flags": "the operating system does not show the flags of a device",
    "scan.appearance": "the operating system does not show the advertised appearance of a device",
    "connect.connected": "the operating system tries again itself, and does not tell that the device left a request unanswered",
    "discover.elapsed": "the operating system reads the table as part of the connection",
    "disconnect.elapsed": "the operating system takes its own time to end a connection, Linux 2 s",
    "disconnect.unasked": "the operating system drops values that nobody has subscribed to",
}
_HOST |= {
    f"{verb}.lost_reason": "the operating system tells that a link is lost, and not why"
    for verb in ("write", "exchange", "wait", "ask", "call", "command", "console", "reboot")
}

LACKS: dict[str, Mapping[str, str]] = {"host": _HOST, "virtual": {}, "hci": {}}


def _wants_refusal(step: Step, name: str, names: Names) -> bool:
    return any(word in PAIRED_OVER for word in _words(step.limits.get(name)))


def _wants_protection(step: Step, name: str, names: Names) -> bool:
    return bool(getattr(getattr(step, "access", None), "highest", 0))


def _about_hidden_table(step: Step, name: str, names: Names) -> bool:
    table = getattr(step.limits.get(name), "services", {})
    return any(_is_hidden(service, names) for service in table)


def _about_hidden_service(step: Step, name: str, names: Names) -> bool:
    """All but a limit that the list contains services that are shown depends on those that are not."""
    limit: Any = step.limits.get(name)
    return limit.keys() != ["contains"] or any(_is_hidden(word, names) for word in _words(limit))


def _streams_a_file(step: Step, name: str, names: Names) -> bool:
    return getattr(step, "pieces", None) is not None and getattr(step, "response", None) is False


def _is_client_configuration(step: Step, name: str, names: Names) -> bool:
    return name not in ("elapsed", "att_error") and is_cccd(getattr(step, "read", ""), names)


def is_cccd(name: str, names: Names) -> bool:
    """Whether a name stands for a client characteristic configuration."""
    try:
        path = names.meaning(name).address.path
    except Misfit:
        return False
    return bool(path) and path[-1].uuid == CCCD


def _is_hidden(service: str, names: Names) -> bool:
    try:
        return names.service(service) in HIDDEN["host"]
    except Misfit:
        return False


def _words(limit: Any) -> Iterator[str]:
    """The texts that a limit holds a reading against."""
    for key in ("equals", "differs", "one_of", "contains", "lacks"):
        value = getattr(limit, key, None)
        yield from (word for word in (value if isinstance(value, list) else [value]) if isinstance(word, str))


_REFUSAL = Partly(
    "the limit is on an error for want of authentication or encryption",
    "the operating system answers such an error itself, by pairing; so nothing is asked of the device",
    _wants_refusal,
)
_UNREFUSED = Partly(
    "the matrix has an operation that needs more than an open link",
    "the operating system answers a refusal for want of security itself, by pairing; so what must be refused is not tried",
    _wants_protection,
)
_HANDED_OVER = Partly(
    "a file is written in pieces without response",
    "the operating system takes all pieces at once, and does not tell when they cross the air",
    _streams_a_file,
)
_PARTLY_HOST = {
    "discover.table": Partly(
        "the limit names generic access or human interface device",
        "the operating system hides that service",
        _about_hidden_table,
    ),
    "discover.services": Partly(
        "the limit is more than `contains`, or names one of these two",
        "the operating system hides the services generic access and human interface device",
        _about_hidden_service,
    ),
    "read.*": Partly(
        "`client characteristic configuration` is read",
        "the operating system subscribes on its own, and writes there what it likes",
        _is_client_configuration,
    ),
    "write.elapsed": _HANDED_OVER,
    "write.throughput": _HANDED_OVER,
    "read.att_error": _REFUSAL,
    "write.att_error": _REFUSAL,
    "exchange.att_error": _REFUSAL,
    "access.differences": _UNREFUSED,
    "access.tried": _UNREFUSED,
    "access.not_tried": _UNREFUSED,
    "access.found": _UNREFUSED,
}
# 'step.reading' -> with which steps this kind of radio has no such reading; 'step.*' is every reading
PARTLY: dict[str, Mapping[str, Partly]] = {"host": _PARTLY_HOST, "virtual": {}, "hci": {}}

# (step, key, value) -> where this kind of radio may not be able to do it
MAY_FAIL: dict[str, Mapping[tuple[str, str, Any], str]] = {
    "host": {
        ("scan", "mode", "passive"): "Linux scans passively only when its Bluetooth service runs with --experimental, "
        "and macOS never does",
        ("connect", "fresh", True): "macOS does not forget the table of a device",
        ("connect", "as", "stranger"): NO_STRANGER,
        ("notify", "mode", "indication"): NO_CHOICE,
        ("listen", "mode", "indication"): NO_CHOICE,
    },
    "virtual": {},
    "hci": {},
}


# Services that this kind of radio never shows, whether the device has them or not.
HIDDEN: dict[str, frozenset[str]] = {
    "host": frozenset({GENERIC_ACCESS, HUMAN_INTERFACE}),
    "virtual": frozenset(),
    "hci": frozenset(),
}
# What stands in such a service and nowhere else: device name, appearance, preferred connection parameters, central
# address resolution, resolvable private address only (Core Vol 3 Part C 12); boot keyboard input and output, HID
# information, report map, control point, report, protocol mode, boot mouse input (HID Service 1.0)
_PARTS_OF = {
    GENERIC_ACCESS: ("2a00", "2a01", "2a04", "2aa6", "2ac9"),
    HUMAN_INTERFACE: ("2a22", "2a32", "2a4a", "2a4b", "2a4c", "2a4d", "2a4e", "2a33"),
}


def hidden_attribute(name: str, hidden: frozenset[str], names: Names) -> bool:
    """Whether a name stands for an attribute of a hidden service."""
    try:
        path = names.meaning(name).address.path
    except Misfit:
        return False
    parts = {f"0000{short}-0000-1000-8000-00805f9b34fb" for service in hidden for short in _PARTS_OF[service]}
    return any(segment.uuid in parts | hidden for segment in path)


def unjudged(lacks: Mapping[str, str], partly: Mapping[str, Partly], step: Step, name: str, names: Names) -> str:
    """Why a limit on this reading of this step is not judged; '' when it is."""
    reading = f"{step.verb}.{name}"
    if why := lacks.get(reading, ""):
        return why
    found = (partly.get(reading), partly.get(f"{step.verb}.*"))
    return next((each.why for each in found if each is not None and each.applies(step, name, names)), "")
