"""Where people and other programs come in.

Doors take words from outside, call the rooms below and say the answer; they decide nothing.
"""
