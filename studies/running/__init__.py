"""Cases to answers: worker processes, the store, marks of quality."""
