"""Process capability: how the spread of a reading compares with its limits (ISO 22514-2; NIST/SEMATECH e-Handbook 6.1.6).

`spread` has the two standard deviations, `indices` the ratios with their intervals, `outside` the parts beyond the limits,
`doubts` what speaks against all of it, `percentiles` the form that asks for no distribution, `capability` all together.
"""
