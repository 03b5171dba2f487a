"""Motions: how parts come out of a machine, straight, about a hinge, or by any way that is found."""
