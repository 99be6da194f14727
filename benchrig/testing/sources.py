"""Plans and devices as text, as files or as data: all of it is read by the reader of files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeAlias

from benchrig.errors import UsageError
from benchrig.plan import loader
from benchrig.plan.model import Plan
from benchrig.radio.virtual.air_spec import AIRS
from benchrig.radio.virtual.device_file import read_devices
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.run.head import texts_of
from benchrig.source.data import text_of_data
from benchrig.source.problem import Problems, suggest
from benchrig.source.yaml import file_bytes

# A file, the text of one, or what is in it as data.
PlanSource: TypeAlias = str | Path | Mapping[str, Any]
# Also a device that has been read, and changed perhaps.
DeviceSource: TypeAlias = str | Path | Mapping[str, Any] | Simulated


def text_of(data: Mapping[str, Any]) -> str:
    """The text of a plan, a device file or any other file that has this data in it. UsageError for what no file can hold."""
    return text_of_data(data)


def plan_of(
    *steps: Mapping[str, Any],
    unit: str = "unit 1",
    attributes: Mapping[str, Any] | None = None,
    connected: bool = True,
    **keys: Any,
) -> dict[str, Any]:
    """A plan as data. `unit` is the name in the advertising data of the device, with * and ?. Before the steps it scans and
    connects, unless `connected` is False. `attributes` and `keys` are those of a plan: `given`, `caution`, `finally_` …
    (one underscore at the end of a key is left out)."""
    device = {"select": {"name": unit}} | ({"attributes": dict(attributes)} if attributes else {})
    reach: list[Mapping[str, Any]] = [{"scan": None}, {"connect": None}] if connected else []
    head = {key.removesuffix("_"): value for key, value in keys.items()}
    return {"plan": "a plan", "device": device} | head | {"steps": [*reach, *steps]}


def device_of(
    name: str = "unit 1", values: Mapping[str, Mapping[str, Any]] | None = None, **keys: Any
) -> dict[str, Any]:
    """A device file as data: by service and characteristic a value, which can be read, or the keys of the characteristic:
    `device_of("unit 1", {"battery": {"battery level": "88 %"}})`. `keys` are those of a device file."""
    services = [
        {"service": service, "characteristics": [_characteristic(*each) for each in inside.items()]}
        for service, inside in (values or {}).items()
    ]
    return {"device": name} | keys | ({"services": services} if services else {})


def _characteristic(name: str, value: Any) -> dict[str, Any]:
    keys = value if isinstance(value, Mapping) else {"value": value}
    return {"characteristic": name, "properties": ["read"]} | dict(keys)


def load_plan(
    plan: PlanSource,
    given: Mapping[str, Any] | None = None,
    *,
    folder: Path | None = None,
    seed: int | None = None,
    limits: Path | None = None,
) -> Plan:
    """The plan, checked. `given` are its values. `folder` is where text and data are taken to be: what they name is looked
    for there (default: the current folder). Random values come from the seed. `limits` is the file of a limit set. PlanError
    with all problems."""
    values = texts_of(given or {})
    if isinstance(plan, Path):
        return loader.load_plan(plan, values, seed=seed, limits=limits)
    text = _text(plan, "plan")
    return loader.load_plan((folder or Path()) / "plan.yaml", values, seed=seed, text=text, limits=limits)


def load_devices(
    devices: Sequence[DeviceSource], *, folder: Path | None = None, air: str | None = None
) -> list[Simulated]:
    """All devices of these sources. PlanError with all problems."""
    _check_air(air)
    problems = Problems()
    read: list[Simulated] = []
    for number, source in enumerate(devices, 1):
        if isinstance(source, (str, Path, Mapping)):
            file = _file(source, (folder or Path()) / f"device {number}.yaml", problems)
            read = read_devices(file, problems, any_air=air is not None, beside=read)
        else:
            read.append(source)
    problems.raise_if_any()
    return read


def load_device(device: DeviceSource, *, folder: Path | None = None) -> Simulated:
    """The only device of a source, which can be changed and handed to `run_plan`. UsageError where there are several."""
    found = load_devices([device], folder=folder)
    if len(found) != 1:
        raise UsageError(f"expected one device, found {len(found)}", advice="write a file for each device")
    return found[0]


def _file(source: str | Path | Mapping[str, Any], name: Path, problems: Problems) -> list[tuple[str, bytes]]:
    """Name and bytes; nothing, with the problem added, for a file that cannot be read."""
    if not isinstance(source, Path):
        return [(str(name), _text(source, "device file").encode())]
    data = file_bytes(source, problems, str(source))
    return [] if data is None else [(str(source), data)]


def _text(source: str | Mapping[str, Any], what: str) -> str:
    if isinstance(source, Mapping):
        return text_of(source)
    if "\n" not in source and source.endswith((".yaml", ".yml")):
        raise UsageError(
            f"expected the text of a {what}, found '{source}'", advice=f"write Path({source!r}) for a file"
        )
    return source


def _check_air(air: str | None) -> None:
    if air is not None and air not in AIRS:
        raise UsageError(f"unknown air '{air}'", advice=suggest(air, AIRS))
