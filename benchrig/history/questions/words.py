"""Words of questions that are known beforehand. Imports nothing heavy: options of commands have them."""

VERDICTS = ("pass", "fail", "error", "nothing judged", "not all judged", "cut off")
CAUSES = ("limit", "device", "link", "station", "plan", "operator", "internal")
# Causes that broke a run off, and say nothing of its unit.
BROKEN_OFF = ("station", "operator", "internal")
# What values of a reading are no part of.
LEFT_OUT = "partial, of a gauge study, a check of the station, cut off, or broken off by station, operator or benchrig"
SAMPLES = ("value", "minimum", "maximum", "mean")
# By what a yield is told apart.
GROUPINGS = (
    "plan", "revision", "limits", "station", "fixture", "firmware", "product", "slot", "person", "shift", "purpose", "day", "hour",
)  # fmt: skip
# By what values are grouped.
SUBGROUPS = ("hour", "day", "station", "fixture", "firmware", "limits", "product", "slot", "person", "shift", "unit")
