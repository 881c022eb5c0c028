"""splitplan's solver: from a scenario to a checked plan for mold sections and flashings."""
