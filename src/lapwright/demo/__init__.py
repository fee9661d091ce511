"""An invented circuit, car and drivers; shares no code with the analysis."""
