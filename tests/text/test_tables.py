"""What a table in the terminal does with the texts that it gets."""

from __future__ import annotations

import io

from rich.console import Console

from benchrig.text.tables import print_table


def test_headings_and_cells_are_text_in_the_characters_of_the_output() -> None:
    file = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    print_table(Console(file=file, width=80), ("[bold]wü[/bold]", "b"), [(("[red]é", "…"), "")])
    file.seek(0)
    assert file.read().splitlines() == [r"[bold]w\xfc[/bold]  b", r"[red]\xe9           ..."]
