"""Changes of a plan that would catch what it passes.

launch.py       from a hunt that is over to its proposals
proposing.py    all candidates at once, what each catches, the fewest of them, run by themselves
ground.py       the plan as it is written, and the sound device
candidate.py    one change
taking.py       changes in the text of the plan, and to which of them a step or limit belongs
narrowing.py    limits from what the sound device gave
choosing.py     the fewest that catch the most
attributes.py   the attributes of the sound device as the plan may write them
evidence.py     what drafts of it and of other good units are made from
writing.py      proposals as YAML

Kinds of proposals:
limits.py       limits on what the steps measure already
drafted.py      steps that a draft has and the plan lacks
writes.py       what is written is kept, what is around it is not touched, what must be refused is
exchanges.py    commands and lines of the console: their answers, that these come once, what follows
looking.py      what moves, what stays, all streams at once, handles, what every device has
staying.py      what is measured does not jump, from read to read and beside a write
identity.py     what each unit has of its own, held to a given value
links.py        the link lasts, and is made again
"""
