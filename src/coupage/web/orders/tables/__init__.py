"""Customers, orders and standing orders as tables that come in and go out."""

from __future__ import annotations

from coupage.web.common.doors import Door
from coupage.web.orders.tables.customers import CUSTOMERS, customer_rows, customers_layout
from coupage.web.orders.tables.orders import ORDERS, order_rows, orders_layout
from coupage.web.orders.tables.standing import STANDING, standing_layout, standing_rows

__all__ = ["DOORS"]

DOORS = (
    Door("customers", customers_layout, customer_rows, CUSTOMERS),
    Door("standing-orders", standing_layout, standing_rows, STANDING),
    Door("orders", orders_layout, order_rows, ORDERS),
)
