"""One module for each open log format."""
