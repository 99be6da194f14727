"""A history in a file that a rebuilt one takes the place of, while somebody waits to write to it."""

from __future__ import annotations

import threading
from pathlib import Path

from sqlalchemy import event

from benchrig.history.filling import fill
from benchrig.history.opening import open_history
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from tests.history.folders import end_of_line, write


def test_who_waited_writes_to_the_new_file(tmp_path: Path) -> None:
    folder, file, fresh = write(tmp_path / "run", end_of_line()), tmp_path / "history.sqlite", tmp_path / "fresh.sqlite"
    for each in (file, fresh):
        open_history(each, make=True).close()
    with open_history(file) as old, open_history(file) as waiting:
        is_connected = threading.Event()
        event.listen(waiting.engine, "connect", lambda *_: is_connected.set())
        worker = threading.Thread(target=fill, args=(waiting, [folder]))
        with old.writing():
            worker.start()
            assert is_connected.wait(20)
            fresh.replace(file)
        worker.join(20)
    with open_history(file) as history:
        assert [run.folder for run in runs_of(history, Filters())] == ["run"]
