"""What the car could do on this road."""
