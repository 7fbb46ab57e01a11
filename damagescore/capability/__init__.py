"""What graders, instruments and the search can do: agreement, repeatability, detection."""
