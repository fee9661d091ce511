"""One function for each thing a coach asks for."""
