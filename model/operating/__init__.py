"""What the operator deals with: bands, the reel and its stops."""
