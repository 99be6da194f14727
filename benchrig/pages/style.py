"""What only these pages look like."""

STYLE = """
.share { margin: 0 0 .8rem; font-size: 1.3rem; font-weight: 600; }
@media screen { td.n, .whole { white-space: nowrap; } }
h3 { scroll-margin-top: 1rem; }
details { margin: .3rem 0 1rem; }
@media print { details > summary { display: none; } details > * { display: block; } }
"""
