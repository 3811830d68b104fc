"""Race committees: nothing of their own is stored yet; the public page asks certificates and boats."""
