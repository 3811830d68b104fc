"""Pages of the register of boats."""
