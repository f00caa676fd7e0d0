"""The wire as it hangs, with its current and its pattern drawn on it."""
