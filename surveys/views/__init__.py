"""Pages of visits and instruments."""
