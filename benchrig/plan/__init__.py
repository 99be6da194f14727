"""Plan files: text -> Plan.

loader.py            the whole, and every check that needs no radio
looks.py             whether a file is a plan at all, without reading it as one
files.py             the files that all this is read from, and their hash
lists.py             lists of steps -> nodes
including.py         `use`: the steps of another file
model.py             the top of a plan
tree.py              its nodes: steps, some with steps in them
step_kinds.py        which step kinds there are, those of other packages too
names.py             what a plan file calls its values
own_names.py         what it calls attributes
given_spec.py        `given`, as it is written
given.py             the values of a run
given_words.py       the same as words of a command line
limit_sets.py        other limits in place of those of the plan
limit_choice.py      which limit set goes with which plan of a call
requirements.py      what the product promises, and the steps that prove it
variants.py          `variants`: tables of values by a given one
substitution.py      values in place of references
filling.py           the same for one step in the run

Checks:
checks.py            limits and readings, links, values and their uses
possible.py          limits that no value of a format can satisfy, or break
kinds.py             arithmetic and references that can never be right
inner.py             STEP.READING: limits on what is read inside
trials.py            steps with each of the values that they may be given
flow.py              what steps need, give and end; the choice of steps and the run go by it too
writers.py           what steps read and write, and what else changes the unit; the choice of steps goes by it
bonds.py             what needs a bond, after what makes and ends one
order.py             `only_after`
conditions.py        `only_if`: whether it holds
condition_checks.py  slips in it
worlds.py            the ways in which the conditions come out together
in_worlds.py         what has to hold in each of them
remarks.py           what a radio does not offer

Beside runs:
schema.py            the JSON Schema that editors use
editing.py           changes of a plan file, with its comments kept
writing.py           a plan -> text
kept_text.py         the text of a plan that a run keeps
wording.py           formats, names and selections -> text
brought.py           what a command without a plan takes from one
"""
