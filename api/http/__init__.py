"""The thin form of the service: one plan a request, on this machine only."""
