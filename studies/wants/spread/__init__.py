"""How sure an answer is: what each value may be off by, carried through to dips and SWR."""
