"""Photos measured beside the page: kept on disk while they wait, one process a core."""

from damagescore.ui.background.desk import Desk, Progress
from damagescore.ui.background.waiting import Waiting, waiting_for

__all__ = ["Desk", "Progress", "Waiting", "waiting_for"]
