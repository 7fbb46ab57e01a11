"""The graded library and blind practice."""
