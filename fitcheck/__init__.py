"""fitcheck: does it fit?"""
