"""Formulas of grip, drive and load."""
