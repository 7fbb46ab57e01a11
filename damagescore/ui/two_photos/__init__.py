"""Two photos laid on one another, with a wipe and a flicker."""

from damagescore.ui.two_photos.mount import mount_two

__all__ = ["mount_two"]
