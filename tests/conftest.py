"""Property tests: the default suite draws the same examples every time; `--hypothesis-profile search` draws new ones."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("repeatable", deadline=None, derandomize=True, max_examples=25)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile("repeatable")
