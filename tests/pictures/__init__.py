"""The pictures of README, made from what the commands do. `python -m tests.pictures` makes them anew."""
