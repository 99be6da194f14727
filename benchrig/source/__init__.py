"""Text files of people, read strictly: every value keeps its place, every mistake is reported with it, all at once.

problem.py   a mistake with its place, the line it stands in and a suggestion
yaml.py      the strict subset of YAML, as a tree of nodes with places
shape.py     a node tree -> typed models (msgspec structs), with all mistakes
loading.py   a whole file without references -> one of these
"""
