"""Every error that benchrig raises on purpose, each with the cause a verdict will name.

BenchrigError                     cause
├── PlanError                     plan      all problems of the text files, with their places
├── UsageError                    plan      the command line or a station file asks for something impossible
├── UnfitValue                    plan      a value of a plan, or one filled in, that its place or format cannot take
├── StationError                  station   the bench itself cannot test
│   ├── SystemPairing             station   the system pairs, in place of passing on what the device answered
│   │   └── SystemPairingAsked    device    … and the device left a request without an answer meanwhile
│   ├── AmbiguousDevice           station   several devices match the selection: none of them is to blame
│   └── WrongDevice               station   another device answers than the one that was found before
│       ├── NotProven             station   … or it is the same one under another address, which nothing shows
│       └── UnfitAddress          device    … and its address does not fit the key that the bonded one gave
├── LinkError                     link
│   ├── DeviceNotFound            link      nothing that answers the selection was heard (also TimeoutError)
│   ├── ConnectFailed             link      one connection attempt did not succeed
│   │   ├── NotConnectable        device    … for what the device advertises says that it takes none
│   │   ├── ConnectUnanswered     link      … since the device heard it, or did not, and gave no answer
│   │   └── ConnectTimeout        link      … within its time (also TimeoutError)
│   └── LinkLost                  link      the connection ended while it was needed
├── DeviceError                   device
│   ├── AttError                  device    the device answered with an ATT error code
│   │   └── WantsPairing          device    … that asks for a paired link, and nobody has paired
│   ├── NoAnswer                  device    an ATT request was not answered in time (also TimeoutError)
│   ├── AttributeMissing          device    the table has no such attribute
│   │   └── PropertyMissing       device    … or the attribute does not offer the property
│   ├── AttributeAmbiguous        device    several attributes answer the name
│   ├── MalformedValue            device    bytes that do not fit the format of the attribute
│   └── MalformedPdu              device    what the device sent is no PDU, or no answer to what was asked
├── StepTimeout                   limit     a step's own `within` ran out (also TimeoutError)
├── StepFailed                    limit     an action reports a failure of the unit that is no reading
│   └── LimitFailed               limit     a step that Python asked for broke a limit (also AssertionError)
├── InnerError                    (its own) what is in a composite step did not pass
│   └── NotSecured                (its own) a step could do nothing, since the pairing before it had failed
├── OperatorError                 operator  cancelled, not answered, not acknowledged
└── InternalError                 internal  a bug of benchrig
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

Cause = Literal["limit", "device", "link", "station", "plan", "operator", "internal"]
# Those that speak of the unit; any other says that nothing was learnt of it.
OF_THE_UNIT: tuple[Cause, ...] = ("limit", "device", "link")


def speaks_of_unit(verdict: str, cause: str) -> bool:
    """Whether a run that ended so counts for its unit, as passed or as failed."""
    return verdict == "pass" or (verdict == "fail" and cause in OF_THE_UNIT)


class BenchrigError(Exception):
    """Base of all errors raised on purpose. `cause` says who is to blame; `advice` says what to do next; `may_pass`
    whether another attempt may go without it; `is_told` is set by who has shown it as data already."""

    cause: Cause = "internal"
    may_pass: ClassVar[bool] = False
    is_told = False

    def __init__(self, message: str, *, advice: str = "", tells: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.advice = advice
        self.tells = tells

    @property
    def data(self) -> dict[str, str]:
        """The error for a program."""
        return {"error": self.message, "advice": self.advice, "cause": self.cause}


class Mistake(Protocol):
    """A mistake in a text file; its text shows the place."""

    @property
    def message(self) -> str: ...

    @property
    def advice(self) -> str: ...


class PlanError(BenchrigError):
    """One or more problems in text files; nothing has been sent to any radio."""

    cause = "plan"

    def __init__(self, problems: Sequence[Mistake]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class UsageError(BenchrigError):
    cause = "plan"


class UnfitValue(BenchrigError):
    """What a plan or a person wants to send has no bytes in the format; nothing was sent."""

    cause = "plan"


class StationError(BenchrigError):
    cause: Cause = "station"


class SystemPairing(StationError):
    """The system would pair where the device wants an encrypted link, so that the bench cannot see its answer."""


class SystemPairingAsked(SystemPairing):
    """A request that was to be answered was not: the device asked for more security instead, or fell silent."""

    cause = "device"


class AmbiguousDevice(StationError):
    pass


class WrongDevice(StationError):
    may_pass = True


class NotProven(WrongDevice):
    """Another device may answer than the one that was found before; a bond would tell."""


class UnfitAddress(WrongDevice):
    """What answers in the place of a bonded device has an address that was not made with the key that it gave."""

    cause = "device"


class LinkError(BenchrigError):
    cause: Cause = "link"
    may_pass = True


class DeviceNotFound(LinkError, TimeoutError):
    pass


class ConnectFailed(LinkError):
    pass


class NotConnectable(ConnectFailed):
    cause = "device"


class ConnectUnanswered(ConnectFailed):
    pass


class ConnectTimeout(ConnectFailed, TimeoutError):
    pass


class LinkLost(LinkError):
    pass


class DeviceError(BenchrigError):
    cause: Cause = "device"
    may_pass = True


class AttError(DeviceError):
    """The device answered with an ATT error; `code` is the octet, `name` its assigned name in lower case."""

    def __init__(self, code: int, name: str, doing: str, *, advice: str = "") -> None:
        super().__init__(f"{doing}: the device answered with ATT error 0x{code:02X} ({name})", advice=advice)
        self.code = code
        self.name = name


class WantsPairing(AttError):
    """What was to be answered on this link the device refuses for want of security. Whether it is meant to cannot be known:
    the advice says how to pair where it is."""

    may_pass = False

    def __init__(self, code: int, name: str, doing: str, *, advice: str = "") -> None:
        super().__init__(code, name, doing, advice=advice)
        self._answered = self.message
        self.message += ": it wants a paired link, and nothing was paired before"
        self.has_bond = False

    def beside_bond(self) -> None:
        """The two have paired, on a link before this one."""
        self.has_bond = True
        self.message = (
            f"{self._answered}: it wants an encrypted link, and this one was not encrypted with the key of the bond"
        )
        self.advice = "add an encrypt step before this one, where the device is meant to ask for it"


class NoAnswer(DeviceError, TimeoutError):
    pass


class AttributeMissing(DeviceError):
    may_pass = False


class PropertyMissing(AttributeMissing):
    pass


class AttributeAmbiguous(DeviceError):
    may_pass = False


class MalformedValue(DeviceError):
    """Bytes that do not fit a format. A format says so of a value that it cannot carry too; where the value comes from a
    plan, `steps/payload.py` makes it an UnfitValue."""

    may_pass = False


class MalformedPdu(DeviceError):
    may_pass = False


class StepTimeout(BenchrigError, TimeoutError):
    cause = "limit"


class StepFailed(BenchrigError):
    cause = "limit"


class LimitFailed(StepFailed, AssertionError):
    """The readings of a step do not satisfy its limits."""


class InnerError(BenchrigError):
    """What is in a composite step came to `verdict`, which is not pass. `root` is the execution that decided, `reason` what
    is said of it to what is left out for it."""

    def __init__(
        self, message: str, verdict: Literal["fail", "error", "skip"], cause: Cause, root: Any, reason: str
    ) -> None:
        super().__init__(message)
        self.reason = reason
        self.verdict = verdict
        self.cause = cause
        self.root = root

    @property
    def weight(self) -> int:
        """The worse verdict has more."""
        return ("skip", "fail", "error").index(self.verdict)


class NotSecured(InnerError):
    """A step that wants a bond, or a link that is encrypted, came after `root`, which gave none."""

    def __init__(self, message: str, root: Any, *, advice: str) -> None:
        super().__init__(message, "skip", "plan", root, message)
        self.advice = advice


class LeftOut(InnerError):
    """Conditions of the plan left out all that is in a composite step."""

    def __init__(self) -> None:
        message = "every step in it was left out"
        super().__init__(message, "skip", "plan", None, message)


class OperatorError(BenchrigError):
    cause = "operator"


class InternalError(BenchrigError):
    cause = "internal"
