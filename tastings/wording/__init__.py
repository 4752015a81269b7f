"""Words for people: sentences from figures and codes, in the language that is active, through Django's catalogue."""
