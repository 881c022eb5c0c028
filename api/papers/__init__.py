"""Papers for the bench: templates, nests, lists, the order of work, and files for other programs."""
