"""The fleet: what all visits together say about each tape and each measurer.

Every accepted reading of a length that was read in more than one visit is an observation

    reading = true length x (1 + e_tape / 1000) + b_(measurer, kind) + noise

with the tape's scale error e in mm/m (positive: the tape reads long) and the measurer's bias b in mm for that kind
of reading. A tape that was calibrated anew counts as another tape from that day on: whatever was done to it, the
certificate speaks of what it is now. The true lengths are unknown and of no interest: they are eliminated boat by
boat with the boat's full covariance (readings of one visit share the day's temperature, band edges, sheer points),
which leaves one small dense normal system in the tapes and biases. Generalised least squares after Aitken;
elimination by the projection M = C^-1 - C^-1 X (X' C^-1 X)^-1 X' C^-1 (textbook result, e.g. Rao, *Linear Statistical
Inference*, ch. 4; from memory).

A real change of the rig starts a new *epoch*: a new unknown length. Epochs are found where two successive readings of
one quantity differ by more than the noise explains, and the whole is solved again until none is left.

What cannot be known is said: tapes that no calibration certificate ties down are solved to mean zero, and only
differences between them have a meaning; biases are always relative to the mean of the measurers who share boats.
"""
