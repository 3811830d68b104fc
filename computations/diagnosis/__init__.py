"""What probably happened: hypotheses about all readings of two visits at once, with honest probabilities."""
