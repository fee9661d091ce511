"""From the document tree to files."""
