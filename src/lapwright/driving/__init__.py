"""What the driver did."""
