"""Patterns of `matches`: regular expressions that take linear time, whatever the text is.

The engine is RE2 (https://github.com/google/re2/wiki/Syntax). It has no look-around and no back-references, and its
`\\d`, `\\s` and `\\w` are ASCII: a serial number has no Arabic-Indic digits.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, ClassVar

from benchrig.source.shape import Misfit, describe_value

LONGEST = 1000

# What the engine says begins so: what it means, and what to write instead.
_CANNOT = (
    (r"invalid perl operator: \(\?<?[=!]", "has a look-ahead or look-behind", "write the whole text out, without it"),
    (r"invalid escape sequence: \\[1-9]", "has a back-reference", "write the repeated part out"),
    (r"invalid escape sequence: \\Z", "has a \\Z", "leave it out: the whole text has to match"),
    (r"invalid repetition size", "repeats a part too often", "repeat it at most 1000 times, all repetitions together"),
    (r"pattern too large", "is too large", "write a shorter one"),
)
# Repetitions to other engines, the very characters to this one.
_OPEN_REPETITION = re.compile(r"\{,[0-9]*\}")
_HUGE_REPETITION = re.compile(r"\{[0-9,]*[0-9]{8}[0-9,]*\}")
_ESCAPED = re.compile(r"\\.", re.DOTALL)


class Regex(str):
    """A regular expression that the whole text must match."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "format": "regex", "maxLength": LONGEST}

    @classmethod
    def from_source(cls, value: Any) -> Regex:
        if not isinstance(value, str):
            found = describe_value(value)
            raise Misfit(f"expected a regular expression as text, found {found}", f"quote it: '{value}'")
        if len(value) > LONGEST:
            raise Misfit(f"a pattern has at most {LONGEST} characters, this one has {len(value)}", _CANNOT[-1][2])
        _check_repetitions(value)
        compiled(value)
        return cls(value)


def _check_repetitions(pattern: str) -> None:
    bare = _ESCAPED.sub("", pattern)
    if found := _OPEN_REPETITION.search(bare):
        advice = f"write {found[0].replace(',', '0,', 1)}, or \\{{ for the brace itself"
        raise Misfit(f"the pattern '{pattern}' has a repetition without its least number", advice)
    if _HUGE_REPETITION.search(bare):
        raise _refused(pattern, "invalid repetition size")


def matches(pattern: str, text: str) -> bool:
    """Whether the whole text is one that the pattern describes."""
    return compiled(pattern).fullmatch(text.encode("utf-8", "surrogatepass")) is not None


def captured(pattern: str, text: str) -> dict[str, str] | None:
    """What the named groups of the pattern have found in the whole text, those without a find left out; None when the
    text does not match."""
    found = compiled(pattern, capture=True).fullmatch(text.encode("utf-8", "surrogatepass"))
    if found is None:
        return None
    groups = found.groupdict().items()
    return {name: part.decode("utf-8", "surrogatepass") for name, part in groups if part is not None}


def group_names(pattern: str) -> list[str]:
    """The names of its groups."""
    return [*compiled(pattern, capture=True).groupindex]


@lru_cache(maxsize=256)
def compiled(pattern: str, *, capture: bool = False) -> Any:
    """Without `capture` groups keep nothing, which is faster. Raises Misfit for a pattern that the engine does not
    take."""
    import re2  # type: ignore[import-untyped]

    options = re2.Options()
    options.log_errors = False
    options.never_capture = not capture
    try:
        return re2.compile(pattern, options)
    except UnicodeEncodeError:
        raise Misfit("the pattern has half of a surrogate pair, which is not a character") from None
    except re2.error as error:
        raise _refused(pattern, error.args[0]) from None


def _refused(pattern: str, said: bytes | str) -> Misfit:
    reason = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    for begins, what, advice in _CANNOT:
        if re.match(begins, reason):
            return Misfit(f"the pattern '{pattern}' {what}, which cannot be used here", advice)
    return Misfit(
        f"'{pattern}' is not a regular expression: {reason}", "write a backslash before ( ) [ ] { } . * + ? itself"
    )
