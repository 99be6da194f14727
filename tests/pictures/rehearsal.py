"""The rehearsal of README, ten simulated units of which one fails and then passes, as it would be on the day of the pictures.

Its runs are real ones. Their records are given the day, the station and the run ids of the pictures; history and pages are
then made of the records by the commands.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.cli.kit import here
from tests.pictures.place import DAY, STATION, folder_stamp, stamp
from tests.readme import block, pasted

# All runs are of one hour.
PAUSE = timedelta(minutes=2)


def rehearsed(folder: Path) -> Path:
    """The folder with the results: the runs, a page of each and rehearsal.html."""
    folder.mkdir(exist_ok=True)
    runs, asked, _ = block("What is remembered", "sh").partition("benchrig yield")
    done = pasted(folder, f"set -e\n{runs}")
    assert asked, "README asks for no yield after the runs"
    assert done.returncode == 0, done.stdout + done.stderr
    _on_the_day(folder / "results")
    _made_anew(folder)
    return folder / "results"


def _on_the_day(results: Path) -> None:
    for number, record in enumerate(sorted(results.glob("*/record.jsonl"))):
        started = DAY - PAUSE * (11 - number)
        head, _, events = record.read_text("utf-8").partition("\n")
        its_own = {"started": stamp(started), "run_id": hashlib.md5(str(number).encode()).hexdigest()}
        record.write_text(json.dumps(_of_the_day(json.loads(head)) | its_own) + "\n" + events, "utf-8")
        record.parent.rename(results / re.sub(r"^\w{8}T\w{6}", folder_stamp(started), record.parent.name))


def _of_the_day(head: dict[str, Any]) -> dict[str, Any]:
    versions = {"benchrig": head["versions"]["benchrig"], "bleak": "3.1.0", "python": "3.11.7"}
    return head | {"station": STATION, "host": STATION, "versions": versions}


def _made_anew(folder: Path) -> None:
    """History and pages, of the records as they now are."""
    (folder / "results" / "history.sqlite").unlink()
    shutil.rmtree(folder / "units")
    of_set = block("What is remembered", "sh").splitlines()[-1].split()[1:]
    of_runs = [["page", str(run)] for run in sorted((folder / "results").glob("2*"))]
    for words in [["history", "rebuild", "results", "--history", "results/history.sqlite"], of_set, *of_runs]:
        done = here(*words, cwd=folder)
        assert done.returncode == 0, done.stdout + done.stderr
    page = folder / "results" / "rehearsal.html"
    page.write_text(
        re.sub(r"(page of</\w+>\s*<\w+>)[^<]*", rf"\g<1>{DAY:%Y-%m-%d %H:%M:%S} UTC", page.read_text("utf-8")), "utf-8"
    )
