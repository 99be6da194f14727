"""Which readings there are, and which one is meant by 'STEP.READING'."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from sqlalchemy import ColumnElement, Connection, exists, select

from benchrig.errors import UsageError
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters, check_words, condition, whole_runs
from benchrig.history.tables import channels, readings, runs
from benchrig.source.problem import suggest
from benchrig.text.escape import plain


class Channel(msgspec.Struct, frozen=True, omit_defaults=True):
    """A reading of a step of a plan, with its unit of measure. Of several steps with one name, which one."""

    plan: str
    step: str
    reading: str
    measure: str = ""
    occurrence: int = 1
    number: int = 0  # in this history alone

    @property
    def label(self) -> str:
        """'read temperature.value', 'read temperature[2].value': as it is asked for."""
        which = f"[{self.occurrence}]" if self.occurrence > 1 else ""
        return f"{self.step}{which}.{self.reading}"


def channels_of(history: History, filters: Filters) -> list[Channel]:
    """The readings that the runs have, by plan, in the order of their names."""
    with history.reading() as connection:
        check_words(connection, filters)
        return held(connection, filters)


def held(connection: Connection, filters: Filters) -> list[Channel]:
    return [each for each in known_channels(connection, filters) if _is_held(connection, each, filters)]


def one_channel(connection: Connection, label: str, filters: Filters) -> Channel:
    """The reading that is meant. UsageError for one that no run has, and for one of several plans, or in several units of
    measure: these are different readings, and no number mixes them."""
    known = known_channels(connection, filters)
    meant = [each for each in known if each.label == label]
    found = [each for each in meant if _is_held(connection, each, filters)]
    if not found:
        raise missing(label, held(connection, filters), is_known=bool(meant))
    if len(found) > 1:
        raise _several(label, found)
    return found[0]


def known_channels(connection: Connection, filters: Filters) -> list[Channel]:
    """Those of the plans, also where no whole run has them."""
    names = ("plan", "step", "reading", "measure", "occurrence", "channel")
    question = select(*(channels.c[name] for name in names))
    if filters.plan:
        question = question.where(channels.c.plan.in_(filters.plan))
    found = [Channel(*row) for row in connection.execute(question)]
    return sorted(found, key=lambda each: (each.plan, each.step, each.occurrence, each.reading, each.measure))


def _is_held(connection: Connection, channel: Channel, filters: Filters) -> bool:
    held: ColumnElement[bool] = exists().where(
        readings.c.channel == channel.number, readings.c.run == runs.c.run, condition(filters), whole_runs(filters)
    )
    return bool(connection.scalar(select(held)))


def missing(label: str, known: Sequence[Channel], *, is_known: bool = False) -> UsageError:
    labels = [plain(each.label) for each in known]
    if is_known:
        message = f"none of these runs has the reading '{plain(label)}'"
    else:
        message = f"the history has no reading '{plain(label)}'"
    return UsageError(message, advice=suggest(plain(label), labels) or "write STEP.READING, as in 'read voltage.value'")


def _several(label: str, found: Sequence[Channel]) -> UsageError:
    plans = dict.fromkeys(plain(each.plan) for each in found)
    if len(plans) > 1:
        named = ", ".join(f"'{plan}'" for plan in plans)
        return UsageError(
            f"the reading '{plain(label)}' belongs to {len(plans)} plans, and they are not mixed: {named}",
            advice="name one of them with --plan",
        )
    measures = ", ".join(plain(each.measure) or "none" for each in found)
    return UsageError(
        f"the reading '{plain(label)}' has several units of measure, and they are not mixed: {measures}",
        advice="select runs in which it has one: --revision, --plan-hash, --since",
    )
