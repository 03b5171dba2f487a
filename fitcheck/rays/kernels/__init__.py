"""Kernels: what a straight line meets first."""
