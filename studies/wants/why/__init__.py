"""Why the dip moved."""
