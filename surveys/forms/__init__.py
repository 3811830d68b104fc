"""Forms of visits and instruments. What they let through, the actions still judge."""
