"""The wheel that exists: what few changes make of it, and what measurements on the bench say about it."""
