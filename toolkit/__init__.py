"""Plan and judge comparisons of parts, finishes, coatings and oils for wear on an engine dynamometer.

A campaign goes from a question and a pilot to a sized and randomised plan, to records as run, to comparisons
with intervals, a verdict and a report. The design decides the error term, once and before any data exist;
sizing and analysis both read it there. Each package is one part of that job and is imported by its name,
as in ``from toolkit import design, size``; nothing is re-exported here.
"""
