"""The trade's published rules, one subject a file: pure functions on plain numbers.

Lengths are millimetres, masses kilograms, forces newtons, stresses MPa, times minutes, angles
degrees.  Each docstring names the source; "[practice]" marks common practice without a published
source, "[memory]" a published source that was not at hand, "[derived]" what follows from a formula.
Local codes and licensed practice decide.
"""
