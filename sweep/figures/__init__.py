"""Figures, each a function from plain data to a matplotlib Figure. matplotlib is imported where a figure is made."""
