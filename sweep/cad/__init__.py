"""Solids of a design, and the proof that they are the design."""
