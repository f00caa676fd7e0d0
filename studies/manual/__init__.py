"""The manual: what the code knows about keys, lists, columns and methods, as a page, in words, as a schema."""
