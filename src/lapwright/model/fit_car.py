"""Find the car from its own laps: power, drag and grip limits with intervals."""
