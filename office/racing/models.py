"""Race committees: the public validity page now; what a committee keeps of its own comes here."""
