"""What a taster writes or dictates, read into suggested descriptors. Pure: no database, no framework."""
