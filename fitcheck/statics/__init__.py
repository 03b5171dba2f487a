"""Statics: what carries what, where the weight lies, when it tips, what an anchor bears."""
