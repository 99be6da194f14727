"""The station that an operator works at: barcodes in, verdicts out. Knows of no screen.

line.py      the controller: texts in, units tested, a view out
opening.py   what a shift needs, opened and closed again; work.py: what all its units share
reading.py   what a scanned line does; floor.py: the slots, which unit is next; slot.py: one of them
passage.py   a unit's way through its slot; loading.py: its plan; judging.py: what its run says of it; settling.py: what follows
questions.py what somebody is asked; operator.py: the person as a run sees them
memory.py    the journal and what it adds up to, while the line lives; recovery.py: what a power cut has left
station_file.py  the station file while a shift lasts
deliveries.py  runs into their history; programs.py, told_programs.py: verdicts to the program of the station
telling.py   verdicts in the words of the line; viewing.py: the state of the line as a view
radios.py    the radios, opened once and lent to the runs in the slots
view.py      what a screen shows, as data
rehearsal.py the line on a simulated radio: units whose files are put into slots; unit_files.py these files
proof.py     which unit is in a slot: what is asked, what can come of it; deciding.py: decided,
             from what was heard and told (scene.py)
prover.py    the same asked on the air; asking.py: one device that tells its serial number
doubled.py   what is wrong with a unit beside all steps of its plan; known_units.py: the units that were tested before
events.py    what happens at a line, as data
journal.py   the file of these events, which is the memory of the line
shift.py     what they add up to
barcode.py   a typed or scanned line: the unit, the word or the person that it names
rules.py     which unit may be tested, when the line stops, which checks of the station are due
plans.py     what a unit is tested with
approving.py the plans and limit sets that are approved at a station
checking.py  what is wrong with a station before a shift; plan_checks.py: with a plan, for a line;
             wired.py: with steps on the wires of a slot
"""
