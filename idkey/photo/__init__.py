"""Traits measured on a photo: the picture, points and spots on it, and what they measure and answer."""
