"""Work orders: many parts, photos that sort themselves, who needs an inspector first."""

from damagescore.ui.orders.page import orders_page

orders_page()
