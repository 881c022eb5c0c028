"""splitplan's solver: from a scenario to a checked plan for mold sections and flashings."""

__version__ = "0.1.0"
