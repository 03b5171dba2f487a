"""Tubes and cables: routes from port to port, and what is proved of them."""
