"""What is asked of a history: which runs, one unit's life, the values of a reading."""
