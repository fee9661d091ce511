"""Fits to what points show: quantile planes by pinball loss, and resampling by groups."""
