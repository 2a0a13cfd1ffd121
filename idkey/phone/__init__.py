"""The whole key in one file that a phone opens without a network."""
