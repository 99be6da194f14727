"""A conversation with one device: verbs typed at a prompt, or one a line from a pipe.

line.py        a line -> verb, words, options
verbs.py       the verbs, and which part of the talk they are
talk.py        the session: what is watched and done with a device; connection.py its link; watch.py a subscription
deeds.py       what was done, kept for saving
naming.py      what the attributes of the connected device are called; completing.py what can stand next
saving.py      deeds -> the text of a plan: steps.py its steps, limits.py values that were seen -> limits
typed.py       the prompt on a terminal, with history.py; piped.py lines from elsewhere
"""
