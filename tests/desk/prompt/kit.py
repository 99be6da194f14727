"""A session on the virtual radio in one line: lines in, results out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchrig.desk.desk import Desk
from benchrig.desk.prompt.session import Session
from benchrig.desk.prompt.verbs import do
from benchrig.errors import BenchrigError
from benchrig.radio.scan import Selection
from benchrig.radio.security import Capability, Party
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.values.format import spec_from
from tests.desk.kit import Reader, at_desk
from tests.run.kit import DEVICES

LOGGER = DEVICES / "logger.yaml"
# shows a passkey, and prints it
LOCK = """
device: Lock 1
security: {capability: display}
on_display: [{print: 'code {number}'}]
services:
  - service: environmental sensing
    characteristics:
      - {characteristic: humidity, properties: [read, write], value: 40 %, read_needs: authenticated, write_needs: authenticated}
"""
OWN = "6b1d000{}-9a53-4c86-8a3e-2f0f6c1d7e40"


def own(number: int, **form: Any) -> AttributeSpec:
    spec = spec_from(form)
    kept = {field: getattr(spec, field) for field in spec.__struct_fields__}
    return AttributeSpec(uuid=Uuid(OWN.format(number)), **kept)


def box() -> str:
    """The transport box as a text that can be changed; the file of its names stands where it is."""
    text = (DEVICES / "transport_box.yaml").read_text(encoding="utf-8")
    return text.replace("../names/", f"{DEVICES.parent}/names/")


NAMES = Names(
    {
        "alarm limit": own(2, **{"as": "sint16", "scale": "0.01", "unit": "°C"}),
        "command": own(3, **{"as": "hex"}),
        "log stream": own(4, fields=[
            {"name": "number", "as": "uint16"},
            {"name": "temperature", "as": "sint16", "scale": "0.01", "unit": "°C"},
            {"name": "supply", "as": "uint16", "unit": "mV"},
        ]),
        "log interval": own(5, **{"as": "uint16", "unit": "s"}),
        "factory key": own(6, **{"as": "hex"}),
        "note": own(8, **{"as": "utf8"}),
    }
)  # fmt: skip


@dataclass
class Talked:
    """What was shown, the cautions that were asked, and the session as it was at the end."""

    results: list[dict[str, Any]]
    asked: list[str]
    session: Session

    def of(self, verb: str) -> list[dict[str, Any]]:
        return [result for result in self.results if result["verb"] == verb]


def talked(
    *lines: str,
    devices: tuple[str | Path, ...] = (LOGGER,),
    names: Names = NAMES,
    answer: BenchrigError | None = None,
    seed: int = 0,
    into: list[dict[str, Any]] | None = None,
    selection: Selection | None = None,
    party: Callable[[Desk], Party] = Reader,
    pair: Capability | None = None,
    **options: Any,
) -> Talked:
    """`answer` is what the person says to a caution instead of 'yes'. An error of a line is raised; what was shown
    before is in `into`."""
    results = [] if into is None else into
    asked: list[str] = []

    async def ask(caution: str) -> None:
        asked.append(caution)
        if answer is not None:
            raise answer

    async def work(desk: Desk) -> Session:
        desk.party = party(desk)
        session = Session(desk, results.append, ask, **options)
        try:
            for line in lines:
                await do(session, line)
        finally:
            await session.close()
        return session

    return Talked(results, asked, at_desk(work, *devices, names=names, seed=seed, selection=selection, pair=pair))
