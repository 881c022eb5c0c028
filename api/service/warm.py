"""Loaded while a child waits for its order: what is compiled is at hand before a clock runs."""

from solver.nests.ready import compile_all

compile_all()
