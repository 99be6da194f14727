"""What a server must answer, line by line (Core Vol 3 Part C 10.3.1; the permissions of Part F 3.4.1.1 come before)."""

import pytest

from benchrig.access.rules import UNTOLD, Over, expected, found_words
from benchrig.radio.security import Level

NONE, ENCRYPTED, AUTHENTICATED, SECURE = Level
NEEDS = ("open", "encrypted", "authenticated", "secure connections")
# what is needed, over which link, with a key from before or without -> the error, 0 for none
TABLE = [
    ("open", NONE, False, 0), ("open", NONE, True, 0), ("open", SECURE, False, 0),
    ("encrypted", NONE, False, 0x05), ("encrypted", NONE, True, 0x0F), ("encrypted", ENCRYPTED, False, 0),
    ("encrypted", AUTHENTICATED, False, 0), ("encrypted", SECURE, True, 0),
    ("authenticated", NONE, False, 0x05), ("authenticated", NONE, True, 0x0F), ("authenticated", ENCRYPTED, False, 0x05),
    ("authenticated", ENCRYPTED, True, 0x05), ("authenticated", AUTHENTICATED, False, 0),
    ("authenticated", SECURE, False, 0),
    ("secure connections", NONE, False, 0x05), ("secure connections", NONE, True, 0x0F),
    ("secure connections", ENCRYPTED, False, 0x05), ("secure connections", AUTHENTICATED, True, 0x05),
    ("secure connections", SECURE, False, 0),
]  # fmt: skip


@pytest.mark.parametrize(("need", "level", "has_key", "code"), TABLE)
@pytest.mark.parametrize("operation", ["read", "write", "subscribe"])
def test_one_answer_is_right(operation, need, level, has_key, code):
    wanted = expected(operation, need, Over(level, has_key), strict=True)
    assert [each for each in range(0x100) if wanted.fits(each)] == [code]
    assert wanted.words == found_words(code)


@pytest.mark.parametrize("need", NEEDS[1:])
def test_who_may_have_a_key_of_an_earlier_run_is_refused_with_either(need):
    wanted = expected("read", need, Over(NONE, None), strict=True)
    assert [each for each in range(0x100) if wanted.fits(each)] == [0x05, 0x0F]
    assert wanted.words == "insufficient authentication or insufficient encryption"
    over = Over(ENCRYPTED, None)
    assert need == "encrypted" or not expected("read", need, over, strict=True).fits(0x0F)


@pytest.mark.parametrize(
    ("operation", "codes"),
    [("read", [0x02]), ("write", [0x03]), ("subscribe", [0x03, 0xFD])],
)
def test_what_is_never_permitted_is_refused_before_security_is_asked(operation, codes):
    for level in Level:
        wanted = expected(operation, "never", Over(level), strict=True)
        assert [each for each in range(0x100) if wanted.fits(each)] == codes


def test_a_lenient_matrix_takes_any_insufficient_error_and_never_a_permission():
    wanted = expected("read", "authenticated", Over(NONE), strict=False)
    assert [each for each in range(0x100) if wanted.fits(each)] == [0x05, 0x08, 0x0C, 0x0F]
    never = expected("write", "never", Over(SECURE), strict=False)
    assert [each for each in range(0x100) if not never.fits(each)] == [0]
    assert expected("read", "encrypted", Over(ENCRYPTED), strict=False).fits(0)
    assert not expected("read", "encrypted", Over(ENCRYPTED), strict=False).fits(0x05)


def test_a_write_without_response_was_without_effect_or_not():
    for need, level in (("encrypted", NONE), ("never", SECURE), ("secure connections", AUTHENTICATED)):
        wanted = expected("write without response", need, Over(level), strict=True)
        assert (wanted.fits(UNTOLD), wanted.fits(0), wanted.words) == (True, False, "refused")
    allowed = expected("write without response", "encrypted", Over(ENCRYPTED), strict=True)
    assert (allowed.fits(UNTOLD), allowed.fits(0)) == (False, True)


def test_any_is_not_judged():
    assert expected("read", "any", Over(NONE), strict=True) is None
