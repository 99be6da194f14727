"""What the figures of a reading begin with: which reading, of which runs."""

from __future__ import annotations

import msgspec

from benchrig.history.questions.values import Of, Values


class OfReading(msgspec.Struct, frozen=True, omit_defaults=True):
    """A reading of a plan. `of` is what of a stream; `subgroup` by what values are grouped, '' for single values."""

    plan: str
    reading: str
    measure: str  # its unit of measure
    simulated: bool
    filters: str  # in words; '' for all runs
    of: Of
    subgroup: str


def head_of(values: Values, of: Of, subgroup: str) -> tuple[str, str, str, bool, str, Of, str]:
    channel = values.channel
    return channel.plan, channel.label, channel.measure, values.simulated, values.filters.described, of, subgroup
