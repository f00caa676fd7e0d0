"""The pocket page: dips typed beside the tree, stops, causes and a log, on a phone without a network."""
