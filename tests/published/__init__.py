"""Figures published elsewhere, one file per source; each value says whether it was read or is from memory.

Not here, because nothing of ours uses them: perimeters and areas of ellipses (a mast's section is drawn as one, but
side and front areas are straight lines and trapezia), Simpson's rule, and weighing at two points.
"""
