"""Which set-up serves which region."""
