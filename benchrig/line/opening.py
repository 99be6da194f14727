"""What a shift needs, opened and closed again."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from datetime import datetime
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.line import wired
from benchrig.line.deliveries import Deliveries
from benchrig.line.events import Answered
from benchrig.line.hiding import Hidden
from benchrig.line.journal import NAME, LineJournal
from benchrig.line.loading import HERE
from benchrig.line.memory import Memory
from benchrig.line.places import is_simulated, results_of
from benchrig.line.prover import Prover
from benchrig.line.questions import Question, Questions
from benchrig.line.radios import StationRadios
from benchrig.line.rehearsal import RehearsalBench
from benchrig.line.work import LineOptions, Work
from benchrig.station.station import Station, load_station
from benchrig.text.escape import plain

# Of a question, and of an answer, so much is kept.
_LONGEST = 500


@contextlib.asynccontextmanager
async def opened(
    file: Path,
    options: LineOptions,
    now: Callable[[], datetime],
    changed: Callable[[], None],
    asked: Callable[[], None],
) -> AsyncIterator[Work]:
    """`asked` is called when a question opens or is answered. PlanError with the mistakes of the station file, UsageError for one that tests nothing, StationError when the journal
    cannot be had. A radio that does not open keeps its own slots from testing, no more: it is tried again for each unit."""
    station = load_station(file)
    if not station.products:
        raise UsageError(
            f"{file} names no products: a line tests nothing then", advice="write products: with a barcode"
        )
    results = results_of(station, options.results)
    async with contextlib.AsyncExitStack() as resources:
        journal, kept = resources.enter_context(
            LineJournal.opened(results / NAME, now(), simulated=is_simulated(station))
        )
        memory = Memory(journal, kept.events, now)
        bench = await _bench(station, options, resources)
        names = {station.slots[name].radio if name in station.slots else "" for name in station.slot_names}
        openers = {name: bench.opener(name) for name in names} if bench is not None else {}
        radios = StationRadios(station, openers, beside=bench.beside if bench is not None else None, seed=options.seed)
        resources.push_async_callback(radios.close)
        work = Work(
            file,
            station,
            options,
            results,
            memory,
            radios,
            Prover(station, radios),
            bench,
            is_simulated(station),
            Questions(asked, lambda question, text: memory.note(_answered(memory, question, text))),
            Deliveries(changed),
            changed,
            Hidden.at(station),
        )
        work.notes |= {f"line {at}": said for at, said in enumerate(kept.troubles(results / NAME))}
        work.notes |= {f"wires {at}": said for at, said in enumerate(wired.troubles(station))}
        for name, error in (await radios.open()).items():
            work.notes[f"radio {name}"] = f"radio {name or station.radio}: {error.message}"
        yield work


def _answered(memory: Memory, question: Question, text: str) -> Answered:
    return Answered(
        at=memory.now(),
        question=plain(question.text, _LONGEST),
        answer="" if question.secret else plain(text, _LONGEST),
        person=memory.state.person,
        slot=question.slot,
        unit=question.unit,
    )


async def _bench(station: Station, options: LineOptions, resources: contextlib.AsyncExitStack) -> RehearsalBench | None:
    if station.rehearsal is None:
        return None
    bench = await RehearsalBench.open(station, options.seed, folder=HERE)
    resources.push_async_callback(bench.close)
    return bench
