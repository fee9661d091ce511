"""Records of what was driven and where, and how each is built from data."""
