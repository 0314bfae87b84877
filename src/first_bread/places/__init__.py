"""The four places of the documentary, and two closer views."""
