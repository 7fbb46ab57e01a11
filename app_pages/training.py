"""Train eyes with graded photos."""

from damagescore.ui.training.page import training_page

training_page()
