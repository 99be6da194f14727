"""Boots the guest and runs a shell script in it, on a clock of the guest's own.

Everything that talks is inside: devices, kernel, bluetoothd, benchrig. So the kernel's clock need not be ours (UML's
time travel): when all wait it jumps to the next thing to do, and work takes no time on it. A wait of 10 s is over at
once, and a machine that is busy makes no gap between two notifications.
"""

from __future__ import annotations

import compileall
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
PROJECT = HERE.parents[1]
BLUETOOTHD = "/usr/libexec/bluetooth/bluetoothd"

# Air and devices first, then the kernel's stack on top of them, then the job.
PRELUDE = f"""
dbus-daemon --system --fork --nopidfile
python3 -m tests.host_stack.air "$DEVICES" "${{ADAPTERS:-1}}" > out/air.out 2> out/air.err &
for i in $(seq 600); do grep -q READY out/air.out 2>/dev/null && break; sleep 0.05; done
{BLUETOOTHD} -n -d > out/bluetoothd.log 2>&1 &
for i in $(seq 200); do
    dbus-send --system --print-reply --dest=org.bluez /org/bluez/hci0 org.freedesktop.DBus.Properties.Get \\
        string:org.bluez.Adapter1 string:Powered >/dev/null 2>&1 && break
    sleep 0.05
done
bluetoothctl power on > out/power.out 2>&1
"""


@dataclass(frozen=True)
class Done:
    """What a job in the guest left: exit code (None: it never came to an end) and its folder of files."""

    code: int | None
    out: Path

    def text(self, name: str) -> str:
        path = self.out / name
        return path.read_text(errors="replace") if path.exists() else ""


def run_in_guest(
    kernel: Path,
    share: Path,
    job: str,
    *,
    devices: list[Path],
    adapters: int = 1,
    within: float = 120.0,
    prelude: bool = True,
    work_counts: bool = False,
) -> Done:
    """Run a shell script in the guest. `share` is an empty folder that the guest can write; the script starts there,
    with the devices in the air and bluetoothd running, or with nothing at all without the `prelude`. `within` are
    seconds of the machine. Where `work_counts` the guest's clock goes on while its processor works."""
    out = share / "out"
    out.mkdir(parents=True, exist_ok=True)
    names = ",".join(str(path.resolve()) for path in devices)
    head = f"export DEVICES={names} ADAPTERS={adapters}\n"
    (share / "job.sh").write_text(head + (PRELUDE if prelude else "") + job)
    python = Path(sys.executable).parent
    for package in ("benchrig", "tests"):
        compileall.compile_dir(PROJECT / package, quiet=2)  # the guest may not write here, and starts Python often
    command = [
        "taskset", "--cpu-list", str(processor()), str(kernel), "mem=512M",
        "root=/dev/root", "rootfstype=hostfs", "rootflags=/", "ro", f"init={HERE / 'init.sh'}",
        f"bench.share={share.resolve()}", f"bench.python={python}", f"bench.project={PROJECT}",
        "con=null", "con0=null,fd:1", "con1=null,fd:1", "quiet",
        # this one gathers chance until the clock has moved on, which here it never does
        "initcall_blacklist=jent_mod_init", "time-travel" if work_counts else "time-travel=inf-cpu",
    ]  # fmt: skip
    with (out / "console.txt").open("wb") as console:
        try:
            subprocess.run(
                command, stdin=subprocess.DEVNULL, stdout=console, stderr=console, timeout=within, check=False
            )
        except subprocess.TimeoutExpired:
            return Done(None, out)
    code = (out / "job.code").read_text().strip() if (out / "job.code").exists() else ""
    return Done(int(code) if code else None, out)


def processor() -> int:
    """The one that a guest stays on, another one for each worker of pytest. Its kernel and its programs take turns
    anyway, at half the speed when they do so across processors."""
    ours = sorted(os.sched_getaffinity(0))
    return ours[int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")) % len(ours)]


PYTEST = "python3 -m pytest -p no:cacheprovider -n 0 -q -m 'slow or not slow'"


def missing() -> str:
    """What this machine lacks for the guest, '' when nothing."""
    for tool in ("dbus-daemon", "bluetoothctl"):
        if shutil.which(tool) is None:
            return f"{tool} is not installed"
    return "" if Path(BLUETOOTHD).exists() else "bluez is not installed"
