"""Lapwright: from logged laps to a guide of how a circuit is driven."""
