"""What people and machines read of a record. Pure functions, one file an output.

explain.py       what a record means, in sentences
rows.py          the record as rows of a datalog
table.py         the terminal
junit.py         build servers
readings_csv.py  spreadsheets
"""
