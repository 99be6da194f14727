"""The back-off of scan requests, against the exact chain."""

import random

import pytest

from benchrig.radio.virtual.backoff import Backoff

HEARD = 100_000


def asked(failing):
    """The shares of heard advertisements that were asked, and that answered."""
    rng = random.Random(3)
    backoff, requests, responses = Backoff(rng), 0, 0
    for _ in range(HEARD):
        if backoff.asks():
            answered = rng.random() >= failing
            requests, responses = requests + 1, responses + answered
            backoff.ended(answered=answered)
        assert 1 <= backoff.count <= backoff.limit <= 256
        assert backoff.limit.bit_count() == 1
    return requests / HEARD, responses / HEARD


@pytest.mark.parametrize(
    ("failing", "requests", "responses"),
    [
        (0.0, (1.0, 0.0), (1.0, 0.0)),
        (0.1, (0.989, 0.003), (0.890, 0.005)),
        (0.3, (0.813, 0.052), (0.569, 0.04)),
        (0.5, (0.035, 0.02), (0.017, 0.01)),
        (1.0, (0.0078, 0.002), (0.0, 0.0)),
    ],
)
def test_requests_become_rare_where_they_fail(failing, requests, responses):
    found = asked(failing)
    assert found[0] == pytest.approx(requests[0], abs=requests[1])
    assert found[1] == pytest.approx(responses[0], abs=responses[1])
