"""Drawings of blanks and nests in true millimetres: the one source for papers, files and page."""
