"""Contacts, the open log exchange, entities and needs."""
