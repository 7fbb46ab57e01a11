"""A library of graded photos, and blind practice with it."""
