"""Curves, frames, filters and event detection on plain arrays."""
