"""Settings that all tests share."""

from hypothesis import settings

settings.register_profile("idkey", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("idkey")
