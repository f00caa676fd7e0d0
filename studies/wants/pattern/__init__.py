"""Where it radiates, and where the power goes."""
