"""A checker that stands alone."""
