"""Whatever is amiss below benchrig on a Linux machine: the right verdict, cause and sentence, and the next run passes."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from tests.contract.radios import DEVICES
from tests.host_stack.conftest import Boot
from tests.host_stack.scenes import PARTS, Scene

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
# what a station error tells its reader to do
ADVICE = "start|plug|power on|end that"


@pytest.mark.parametrize("part", PARTS)
def test_scenes(part: str, boot: Boot) -> None:
    """All of a part in one guest: a boot takes as long as a scene."""
    done = boot(f'python3 -m tests.host_stack.stage out "$DEVICES" "{part}"\n', DEVICES, within=580, prelude=False)
    played = {one["name"]: one for one in map(json.loads, done.text("scenes.jsonl").splitlines())}
    wrong = {scene.name: found for scene in PARTS[part] if (found := list(faults(scene, played.get(scene.name, {}))))}
    assert not wrong, json.dumps({name: [*found, played.get(name)] for name, found in wrong.items()}, indent=1)


def faults(scene: Scene, result: dict[str, Any]) -> Any:
    """What is not as it has to be."""
    if "run" not in result:
        yield "it was not played"
        return
    run, after = result["run"], result["next"]
    verdict = run["verdict"]
    if (run["exit_code"], verdict.get("cause")) != (scene.exit_code, scene.cause):
        yield f"ended with {run['exit_code']}, {verdict.get('cause')}"
    if not re.search(scene.says, verdict.get("message", "")):
        yield f"says '{verdict.get('message')}'"
    if run["seconds"] > scene.within:
        yield f"took {run['seconds']} s"
    if after["exit_code"] != 0:
        yield "the next run did not pass"
    for pattern, notes in ((scene.notes, run["notes"]), (scene.next_notes, after["notes"])):
        if not re.search(pattern, "; ".join(notes)):
            yield f"does not note '{pattern}'"
    if scene.exit_code >= 0 and "Traceback" in run["output"]:
        yield "a traceback"
    if scene.cause == "station" and not re.search(
        ADVICE, "; ".join([*run["advice"], *run["notes"], verdict.get("advice", "")])
    ):
        yield "no advice"
