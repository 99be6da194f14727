"""Gauge studies: how much of what a station reads is the station's doing.

`crossed` is the data, every unit measured by every appraiser equally often; `anova` and `ranges` are the two methods,
`repeats` the short form with one unit, `rating` what the figure is taken for.
"""
