"""From findings to a document tree without a format."""
