"""`python -m benchrig`."""

from __future__ import annotations

from benchrig.cli import main

if __name__ == "__main__":
    main(prog_name="benchrig")
