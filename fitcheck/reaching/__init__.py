"""Reaching: does a finger, a hand or a tool get to a place inside a machine?"""
