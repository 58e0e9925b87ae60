"""Numbers only: pairing, placement, certificate, chance.

In: a `FitTask`, or arrays of places and plays. Out: the answer of `fit.solve.solve` with its proof.
trial, adaptation and commands ask; each module is imported by name, so that who plans to strip loads no numbers.
"""
