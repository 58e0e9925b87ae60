"""One trial of a donor on its host: where both sides are and what fits of that; what was found out, with its chance.

In: what the graph knows of both sides. Out: trials with placement, proof and chance; seams; readings that are doubted.
pipeline, adaptation, readings and verdict build on it; positions and fit are joined here and nowhere else.
"""
