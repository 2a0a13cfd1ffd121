"""Notebook widgets over the views: one module a screen. No rule of the trade and no arithmetic."""
