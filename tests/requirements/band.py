"""What the makers of wearables want to know."""

from __future__ import annotations

from tests.requirements.kit import Requirement

REQUIREMENTS = [
    Requirement(
        "it can be found again soon after a link",
        "band",
        """
  - disconnect:
    expect: {advertises_after: {max: 1 s}}
""",
        ("again_after: 200 ms", "again_after: 4 s"),
        fails="disconnect",
    ),
    Requirement(
        "the heart rate is plausible and regular",
        "band",
        """
  - notify: heart rate measurement
    for: 20 s
    expect:
      rate: {nominal: 1 Hz, tolerance: 5 %}
      gap_max: {max: 1.5 s}
      value.heart_rate: {min: 40 1/min, max: 120 1/min}
""",
        ("{noise: {mean: 62 1/min, sd: 1 1/min}}", "{sequence: [62 1/min, 61 1/min, 63 1/min, 0 1/min]}"),
        fails="notify heart rate measurement",
        everywhere=True,
    ),
]
