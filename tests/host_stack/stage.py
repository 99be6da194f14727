"""In the guest: plays the scenes and writes down how each run ended.

    python -m tests.host_stack.stage OUT DEVICES PART

PART is a part of scenes.PARTS, or the name of one scene. OUT gets `scenes.jsonl`, a line for each scene.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.host_stack.guest import BLUETOOTHD
from tests.host_stack.scenes import OF_CONTRACT, PARTS, QUICK, Scene

HOLD = """
import asyncio, sys
from bleak import BleakClient, BleakScanner
async def main():
    device = await BleakScanner.find_device_by_name("all sorts")
    async with BleakClient(device):
        print("connected", flush=True)
        await asyncio.sleep(600)
asyncio.run(main())
"""
SCAN = """
import asyncio
from bleak import BleakScanner
async def main():
    async with BleakScanner():
        print("scanning", flush=True)
        await asyncio.sleep(600)
asyncio.run(main())
"""
PATIENCE = 20.0


def until(ready: Callable[[], bool], what: str, within: float = PATIENCE) -> None:
    deadline = time.monotonic() + within
    while not ready():
        if time.monotonic() > deadline:
            raise TimeoutError(what)
        time.sleep(0.02)


def powered() -> bool:
    command = ["dbus-send", "--system", "--print-reply", "--dest=org.bluez", "/org/bluez/hci0"]
    command += ["org.freedesktop.DBus.Properties.Get", "string:org.bluez.Adapter1", "string:Powered"]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    return "boolean true" in answer.stdout


class Stage:
    """Everything below benchrig: D-Bus, the Bluetooth service, the adapter with its air, other programs."""

    def __init__(self, out: Path, devices: str) -> None:
        self.out, self.devices = out, devices
        self.others: list[subprocess.Popen[str]] = []
        self.run: subprocess.Popen[Any] | None = None
        self.air: subprocess.Popen[Any]
        self.service: subprocess.Popen[Any]
        self.bus: subprocess.Popen[Any]
        self.start_bus()

    # what scenes name

    def act(self, name: str) -> None:
        if name.startswith("SIG"):
            assert self.run is not None
            self.run.send_signal(getattr(signal, name))
        else:
            {
                "pull the adapter out": self.end_air,
                "plug the adapter in": self.start_air,
                "power on": lambda: self.power("on"),
                "power off": lambda: self.power("off"),
                "kill the service": self.kill_service,
                "start the service": self.start_service,
                "stop the service": lambda: self.service.send_signal(signal.SIGSTOP),
                "let the service go on": lambda: self.service.send_signal(signal.SIGCONT),
                "kill D-Bus": self.kill_bus,
                "start D-Bus": self.start_bus,
                "start another scan": self.scan,
                "connect from another process": self.hold,
                "end the others": lambda: self.end_others(signal.SIGINT),
                "kill the others": lambda: self.end_others(signal.SIGKILL),
                "update the unit": self.update,
            }[name]()

    def spawn(self, *command: str, log: str) -> subprocess.Popen[Any]:
        with (self.out / log).open("ab") as output:
            return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=output, stderr=output)

    def start_bus(self) -> None:
        self.bus = self.spawn("dbus-daemon", "--system", "--nofork", "--nopidfile", log="dbus.txt")
        until(lambda: Path("/run/dbus/system_bus_socket").exists(), "D-Bus")
        self.start_air(wait=False)
        self.start_service()

    def kill_bus(self) -> None:
        self.bus.kill()
        self.bus.wait()
        Path("/run/dbus/system_bus_socket").unlink()
        self.kill_service()
        self.end_air()

    def start_service(self) -> None:
        self.service = self.spawn(BLUETOOTHD, "-n", "-d", log="bluetoothd.txt")
        self.power("on")

    def kill_service(self) -> None:
        self.service.kill()
        self.service.wait()

    def start_air(self, *, wait: bool = True) -> None:
        ready = self.out / "air.txt"
        ready.unlink(missing_ok=True)
        self.air = self.spawn(sys.executable, "-m", "tests.host_stack.air", self.devices, log="air.txt")
        until(lambda: b"READY" in ready.read_bytes(), "the air")
        if wait:
            self.power("on")

    def end_air(self) -> None:
        self.air.kill()
        self.air.wait()

    def power(self, state: str) -> None:
        def done() -> bool:
            subprocess.run(["bluetoothctl", "power", state], capture_output=True, timeout=PATIENCE, check=False)
            return powered() == (state == "on")

        until(done, f"power {state}")

    def scan(self) -> None:
        self.others.append(self._other(SCAN))

    def hold(self) -> None:
        self.others.append(self._other(HOLD))

    def _other(self, script: str) -> subprocess.Popen[str]:
        """Another program that is at work when this returns."""
        process = subprocess.Popen(
            [sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        assert process.stdout is not None
        assert process.stdout.readline(), "it ended at once"
        return process

    def end_others(self, how: signal.Signals) -> None:
        for process in self.others:
            process.send_signal(how)
            process.communicate()
        self.others.clear()

    def update(self) -> None:
        self.benchrig(
            OF_CONTRACT["the table changes with a restart"].partition("  - connect:\n    name: again")[0], "update"
        )

    # runs

    def benchrig(self, plan: str, name: str, during: Callable[[], None] | None = None, at: int = 0) -> dict[str, Any]:
        """Run a plan; what it left."""
        folder = self.out / name.replace(" ", "-")
        folder.mkdir(parents=True)
        (folder / "plan.yaml").write_text(plan)
        started = time.monotonic()
        with (folder / "output.txt").open("wb") as output:
            command = [sys.executable, "-m", "benchrig", "run", str(folder / "plan.yaml"), "--radio", "host", "-q"]
            command += ["--results", str(folder / "results")]
            self.run = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=output, stderr=output)
            if during is not None:
                until(lambda: self._is_at(folder, at) or self.run is None or self.run.poll() is not None, f"step {at}")
                time.sleep(0.5)
                during()
            code = self.run.wait(120)
        events = list(self._events(folder))
        return {
            "exit_code": code,
            "seconds": round(time.monotonic() - started, 2),
            "verdict": next((e for e in events if e["event"] == "verdict"), {}),
            "steps": {
                int(e["where"]["node"]): f"{e['verdict']} {e.get('cause', '')}".strip()
                for e in events
                if e["event"] == "closed"
            },
            "advice": [e.get("advice", "") for e in events if e["event"] == "closed"],
            "notes": [e["text"] for e in events if e["event"] == "note"],
            "output": (folder / "output.txt").read_text(errors="replace"),
        }

    def _is_at(self, folder: Path, step: int) -> bool:
        return any(e["event"] == "opened" and e["where"] == {"node": str(step)} for e in self._events(folder))

    def _events(self, folder: Path) -> Any:
        for path in folder.glob("results/*/record.jsonl"):
            for line in path.read_text().splitlines(keepends=True):
                if line.endswith("\n"):
                    yield json.loads(line)

    def play(self, scene: Scene) -> dict[str, Any]:
        for name in scene.before:
            self.act(name)
        during = (lambda: [self.act(name) for name in scene.during]) if scene.during else None
        run = self.benchrig(scene.plan, scene.name, during, scene.at)
        for name in scene.mended:
            self.act(name)
        return {"name": scene.name, "run": run, "next": self.benchrig(QUICK, scene.name + ", next")}


def main(out: Path, devices: str, part: str) -> None:
    stage = Stage(out, devices)
    with (out / "scenes.jsonl").open("w") as results:
        scenes = PARTS.get(part) or [scene for scenes in PARTS.values() for scene in scenes if scene.name == part]
        for scene in scenes:
            try:
                result = stage.play(scene)
            except Exception as error:  # a stage that breaks down must not take the other scenes with it
                result = {"name": scene.name, "broken": repr(error)}
                with contextlib.suppress(Exception):
                    stage.end_others(signal.SIGKILL)
                    stage.kill_bus()
                    stage.start_bus()
            results.write(json.dumps(result) + "\n")
            results.flush()
    os._exit(0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
