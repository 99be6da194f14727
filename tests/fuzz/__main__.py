"""The search at length, with its figures."""

from __future__ import annotations

import sys
import time

from tests.fuzz.trying import try_many


def main(count: int = 30_000, seed: int = 1) -> int:
    began = time.monotonic()
    tried = try_many(count, seed)
    for (kind, end), times in sorted(tried.ends.items()):
        print(f"{kind:14}{end:12}{times:7}")
    print(f"{count} inputs, seed {seed}, {time.monotonic() - began:.0f} s, {len(tried.bad)} bad")
    for each in tried.bad[:20]:
        print(each)
    return 1 if tried.bad else 0


sys.exit(main(*map(int, sys.argv[1:])))
