"""Measurements to pictures: scopes, evenness chart, report page. Pure: returns bytes and text."""
