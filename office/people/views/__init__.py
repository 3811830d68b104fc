"""The pages about people."""
