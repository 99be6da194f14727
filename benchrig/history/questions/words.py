"""Words of questions that are known beforehand. Imports nothing: options of commands have them."""

VERDICTS = ("pass", "fail", "error", "nothing judged", "not all judged", "cut off")
CAUSES = ("limit", "device", "link", "station", "plan", "operator", "internal")
SAMPLES = ("value", "minimum", "maximum", "mean")
# By what a yield is told apart.
GROUPINGS = ("plan", "revision", "limits", "station", "fixture", "firmware", "day", "hour")
# By what values are grouped.
SUBGROUPS = ("hour", "day", "station", "fixture", "firmware", "limits", "unit")
