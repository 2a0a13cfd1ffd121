"""The fish room's book: what came in, what was seen of each fish, how it was named, what became of it."""
