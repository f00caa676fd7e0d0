"""What figures share: look, axes, labels, and drawings of the set-up."""
