"""Between wire and radio: coax, ferrite cores, the transformer, and the chain of them."""
