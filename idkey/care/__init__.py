"""Care: what the names call for, and what is right for several names at once."""
