"""Slow, independent reference of the wheel's mechanics: numpy and scipy only, nothing shared with the package under test."""
