"""The photo workspace: what it is told, and the numbered edits that it sends back."""

from damagescore.ui.workspace.feed import feed_of
from damagescore.ui.workspace.mount import Op, key_of, mount, take_ops

__all__ = ["Op", "feed_of", "key_of", "mount", "take_ops"]
