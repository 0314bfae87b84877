"""Measurements to pictures: scopes, the evenness chart, the report page. Pure: returns bytes and text."""
