"""Suppliers over their deliveries: words, tables, page, terminal, figures."""
