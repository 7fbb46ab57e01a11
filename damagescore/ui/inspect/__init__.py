"""The steps of an inspection."""
