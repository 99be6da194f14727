"""How large a gauge study has to be to say something. Loads no numpy: a study asks before it begins."""

# Fewer repeats tell little: the interval of their standard deviation is wider than from 0.79 to 1.35 of it.
FEW = 25
