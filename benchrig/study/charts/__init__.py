"""Control charts: their limits from the values themselves, and the rules by which they speak of a change."""
