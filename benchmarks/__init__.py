"""Figures of accuracy and speed; every table in the README comes from here."""
