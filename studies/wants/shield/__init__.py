"""What runs on the outside of the coax, and what a choke does about it."""
