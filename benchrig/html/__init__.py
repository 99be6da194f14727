"""What all pages for a browser are made of. A page is one file that needs nothing else: no network, no script to be read.

elements.py   elements from text and other elements; nothing is written as HTML by hand, so that all text is escaped
parts.py      what pages share: sections, tables, facts, contents, marks that cannot be overlooked, figures
drawing.py    small pictures of shapes, as inline SVG
plots.py      plots of measured values, drawn by matplotlib, as inline SVG
style.py      the look, on screen, light and dark, and on paper
document.py   the whole of a page
"""
