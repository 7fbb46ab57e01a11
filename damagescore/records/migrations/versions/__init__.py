"""The revisions, oldest first; see `damagescore.records.migrations`."""
