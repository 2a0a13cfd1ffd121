"""The trait table: what is known of each kind, and where it stands written. Knows no probability."""
