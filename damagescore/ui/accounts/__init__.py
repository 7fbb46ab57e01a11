"""Signing in and out, and the accounts of those who may."""
