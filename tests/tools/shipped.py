"""The table that comes with the package, loaded once for all tests: what is worked out of it is shared."""

from idkey import load_table

TABLE = load_table()
