"""Papers for the bench: templates, nests, lists, order of work, files for other programs."""
