"""Commands of the whole registry."""
