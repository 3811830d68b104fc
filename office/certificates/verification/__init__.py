"""Trail, sign-offs, readings, certificates and their papers against each other: what does not fit is named."""
