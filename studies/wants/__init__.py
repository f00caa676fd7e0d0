"""The questions a study can ask: a folder a question, with its want, its words and its figures."""
