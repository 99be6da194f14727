"""What can go wrong between benchrig and the air on a Linux machine, and how each run has to end.

A scene runs benchrig on the host radio while something is amiss, puts that right, and runs a short plan that has to
pass. It is played in the guest (stage.py) and judged outside (test_scenes.py).
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.contract.cases import ALL

QUICK = """
plan: quick look
device: {select: {name: all sorts}}
steps:
  - scan:
    for: 300 ms
    within: 5 s
  - connect:
  - read: battery level
    expect: {value: {equals: 97 %}}
"""
# The third step is the one in which things happen.
NOTIFY = """
plan: in the middle of a stream
device: {select: {name: all sorts}}
steps:
  - scan:
    for: 300 ms
    within: 5 s
  - connect:
  - notify: temperature
    for: 4 s
    expect: {count: {min: 5}}
  - read: battery level
    expect: {value: {equals: 97 %}}
"""
PAUSE = NOTIFY.replace(
    "  - notify: temperature\n    for: 4 s\n    expect: {count: {min: 5}}\n", "  - command: [sleep, '4']\n"
)
BEFORE_CONNECT = PAUSE.replace(
    "  - connect:\n  - command: [sleep, '4']\n", "  - wait: 10 ms\n  - command: [sleep, '6']\n  - connect:\n"
)
SCANNING = QUICK.replace("name: all sorts", "name: nobody").replace("for: 300 ms", "for: 3 s")
OF_CONTRACT = {case.name: case.plan for case in ALL}


@dataclass(frozen=True)
class Scene:
    """`before` and `during` name what the stage does: before the run, and in its step `at`. `mended` puts it right.

    Expected: the exit code of the run (negative: the signal that ended it), its cause, a pattern of its sentence,
    the most seconds that it may take, and a pattern of a note in the run that follows.
    """

    name: str
    plan: str = QUICK
    before: tuple[str, ...] = ()
    during: tuple[str, ...] = ()
    at: int = 3
    mended: tuple[str, ...] = ()
    exit_code: int = 0
    cause: str | None = None
    says: str = ""
    within: float = 20.0
    notes: str = ""
    next_notes: str = ""

    def __str__(self) -> str:
        return self.name.replace(" ", "-")


def _of_contract(name: str, cause: str, says: str) -> Scene:
    # three attempts to connect, of 10 s each, and what is around them
    return Scene(name, OF_CONTRACT[name], exit_code=1, cause=cause, says=says, within=35.0)


STATION = [
    Scene("nothing amiss"),
    Scene(
        "adapter absent",
        before=("pull the adapter out",),
        mended=("plug the adapter in",),
        exit_code=7,
        cause="station",
        says="this computer has no Bluetooth adapter",
    ),
    Scene(
        "adapter pulled out in a stream",
        NOTIFY,
        during=("pull the adapter out",),
        mended=("plug the adapter in",),
        exit_code=7,
        cause="station",
        says="the adapter 'hci0' is (gone|switched off)",
    ),
    Scene(
        "powered off before",
        before=("power off",),
        mended=("power on",),
        exit_code=7,
        cause="station",
        says="the adapter 'hci0' is switched off",
    ),
    Scene(
        "powered off in a stream",
        NOTIFY,
        during=("power off",),
        mended=("power on",),
        exit_code=7,
        cause="station",
        says="the adapter 'hci0' is switched off",
    ),
    Scene(
        "powered off and on between steps",
        PAUSE,
        during=("power off", "power on"),
        exit_code=7,
        cause="station",
        says="the adapter 'hci0' is switched off",
    ),
    Scene(
        "powered off in a scan",
        SCANNING,
        during=("power off",),
        at=1,
        mended=("power on",),
        exit_code=7,
        cause="station",
        says="switched off|Not Ready",
    ),
    Scene(
        "service not running",
        before=("kill the service",),
        mended=("start the service",),
        exit_code=7,
        cause="station",
        says="the Bluetooth service is not running",
    ),
    Scene(
        "service stopped before",
        before=("stop the service",),
        mended=("let the service go on",),
        exit_code=7,
        cause="station",
        says="the Bluetooth service does not answer",
    ),
    Scene(
        "service stopped between steps",
        PAUSE,
        during=("stop the service",),
        mended=("let the service go on",),
        exit_code=7,
        cause="station",
        says="the Bluetooth service does not answer",
        within=45.0,
    ),
    Scene(
        "service stopped in a scan",
        SCANNING,
        during=("stop the service",),
        at=1,
        mended=("let the service go on",),
        exit_code=7,
        cause="station",
        says="the Bluetooth service does not answer|the scan does not stop",
        within=45.0,
    ),
    Scene(
        "service killed in a stream",
        NOTIFY,
        during=("kill the service",),
        mended=("start the service",),
        exit_code=7,
        cause="station",
        says="the Bluetooth service has ended",
    ),
    Scene(
        "service killed and started between steps",
        PAUSE,
        during=("kill the service", "start the service"),
        exit_code=7,
        cause="station",
        says="the Bluetooth service has ended",
    ),
    Scene(
        "no D-Bus",
        before=("kill D-Bus",),
        mended=("start D-Bus",),
        exit_code=7,
        cause="station",
        says="the system's D-Bus is not running",
    ),
    Scene(
        "D-Bus killed in a stream",
        NOTIFY,
        during=("kill D-Bus",),
        mended=("start D-Bus",),
        exit_code=7,
        cause="station",
        says="the system's D-Bus has ended",
    ),
]

OTHERS = [
    Scene(
        "another process scans",
        QUICK.replace("within: 5 s", "within: 15 s").replace("  - connect:", "  - connect:\n    within: 15 s"),
        before=("start another scan",),
        mended=("end the others",),
        within=35.0,
        notes="another program is scanning with this adapter",
    ),
    Scene(
        "another process scans, and there is little time",
        QUICK.replace("within: 5 s", "within: 2 s"),
        before=("start another scan",),
        mended=("end the others",),
        exit_code=7,
        cause="station",
        says="another program is scanning with this adapter, which kept the unit from being heard",
    ),
    Scene(
        "another process scans, and there is little time to connect",
        BEFORE_CONNECT.replace("  - connect:", "  - connect:\n    within: 3 s"),
        during=("start another scan",),
        mended=("end the others",),
        exit_code=7,
        cause="station",
        says="another program is scanning with this adapter, which kept the unit from being heard",
    ),
    Scene(
        "another process is connected before",
        before=("connect from another process",),
        mended=("end the others",),
        exit_code=7,
        cause="station",
        says="another program on this computer is connected to all sorts",
    ),
    Scene(
        "another process connects before the connection",
        BEFORE_CONNECT,
        during=("connect from another process",),
        mended=("end the others",),
        exit_code=7,
        cause="station",
        says="another program on this computer is connected to all sorts",
    ),
]

SIGNALS = [
    Scene("Ctrl-C in a stream", NOTIFY, during=("SIGINT",), exit_code=2, cause="operator", says="interrupted"),
    Scene("SIGTERM between steps", PAUSE, during=("SIGTERM",), exit_code=2, cause="operator", says="interrupted"),
    Scene(
        "Ctrl-C while connecting",
        OF_CONTRACT["never connected"].replace("within: 3 s", "within: 20 s"),
        during=("SIGINT",),
        at=2,
        exit_code=2,
        cause="operator",
        says="interrupted",
    ),
    Scene(
        "SIGKILL in a stream",
        NOTIFY,
        during=("SIGKILL",),
        exit_code=-9,
        next_notes="cleared a link that was left to all sorts",
    ),
]

UNIT = [
    _of_contract("silent when read", "device", "did not answer within"),
    _of_contract("silent when written", "device", "did not answer within"),
    _of_contract("nobody of this name", "link", "the unit was not heard"),
    _of_contract("hangs up while it is connected to", "link", "connect to hanging up: "),
    _of_contract("never connected", "link", "connect to deaf: no connection within the time allowed"),
    _of_contract("link lost in a read", "link", "the link was lost"),
    _of_contract("link lost in a write", "link", "the link was lost"),
    _of_contract("link lost in notify", "link", "the link was lost"),
    _of_contract("link lost between steps", "link", "the link was lost in this step"),
    _of_contract("one UUID twice", "device", "2 attributes answer to it"),
    Scene(
        "the table changes between two runs",
        QUICK.replace("all sorts", "updated")
        .replace("  - connect:\n", "  - connect:\n    fresh: true\n")
        .replace("97", "40"),
        before=("update the unit",),
    ),
]

PARTS = {"station": STATION, "others and signals": [*OTHERS, *SIGNALS], "unit": UNIT}
