"""Statistics of what a bench saw: limits of proportions, percentiles and means, numbers of samples, sequential tests;
`capability/` and `charts/` of a process, `gauge/` studies of a station, what uncertainty does (`conformance`, `risks`).

Pure: plain numbers in, plain results out. All of it holds for samples that are independent of one another and alike; what
can be seen against that is in `dependence.py`. Shares, risks and confidences are between 0 and 1.
"""
