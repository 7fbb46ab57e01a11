"""Scale cards to print."""

from damagescore.ui.cards import cards_page

cards_page()
