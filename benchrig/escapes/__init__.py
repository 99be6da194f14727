"""Which faulty units a plan passes.

trial.py        one run of a plan in a scene, in memory, and what it came to
stopping.py     one that ends with the first catch
outcome.py      record -> by which step and reading a fault was caught
results.py      a fault, a hunt: as data, and as JSON
hunting.py      all faults of a device, one trial each
rules.py        escapes that no plan could catch
argued.py       the file in which people argue for escapes
arguing.py      what both make of the results
cache.py        results of earlier hunts that still hold
planned.py      what a plan says of the values of a device
launch.py       one hunt from options to results
telling.py      results in words
coverage.py     what each step notices, and which requirements nothing proves
junit.py        results for build servers
page/           results as one HTML page
proposals/      what would catch the escapes
"""
