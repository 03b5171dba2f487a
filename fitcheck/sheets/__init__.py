"""Sheets: what is left of them around holes and cut-outs, at bends and edges; how folded ones are bent."""
