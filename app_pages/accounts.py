"""Accounts: who may sign in, and as what."""

from damagescore.ui.accounts.page import accounts_page

accounts_page()
