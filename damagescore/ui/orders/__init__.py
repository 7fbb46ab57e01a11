"""The pages of work orders."""
