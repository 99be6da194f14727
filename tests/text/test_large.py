"""Digits in large: each reads as the segments of a display do, and no two are alike."""

from benchrig.text.large import large

# Segments a to g of a seven-segment display (common practice, no source): top, right above, right below, bottom, left below,
# left above, middle
SEGMENTS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
    "8": "abcdefg", "9": "abcdfg",
}  # fmt: skip
# where each segment alone is seen in a digit of three cells by five
SEEN = {"a": (0, 1), "b": (1, 2), "c": (3, 2), "d": (4, 1), "e": (3, 0), "f": (1, 0), "g": (2, 1)}


def cells(text, number):
    """The cells of one of six digits, as a reader sees them."""
    start = 4 + number * 8 + (3 if number > 2 else 0)
    rows = [line.ljust(60)[start : start + 6] for line in text.splitlines()[1:6]]
    return [[row[at] == "#" for at in (0, 2, 4)] for row in rows]


def test_each_digit_has_its_segments():
    for digits in ("012345", "678901", "000000", "999999"):
        text = large(digits)
        for number, digit in enumerate(digits):
            seen = cells(text, number)
            assert {name for name, (row, column) in SEEN.items() if seen[row][column]} == {*SEGMENTS[digit]}, digit
        assert f"{digits[:3]} {digits[3:]}" in text
        assert max(map(len, text.splitlines())) <= 60
