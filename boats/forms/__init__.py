"""Forms of the register of boats."""
