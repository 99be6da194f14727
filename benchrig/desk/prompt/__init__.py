"""A conversation with one device: verbs typed at a prompt, or one a line from a pipe.

line.py        a line -> verb, words, options
verbs.py       the verbs, and what of the session they do
session.py     what is watched and done with a device; connection.py its link; subscription.py what is watched
deeds.py       what was done, kept for saving
completing.py  what can stand next
saving.py      deeds -> the text of a plan: steps.py its steps, limits.py values that were seen -> limits
piped.py       lines that nobody types; the prompt on a terminal is in cli/
"""
