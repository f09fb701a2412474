"""A wire line with known truth: what is on the wire, and what each instrument would have logged of it.

Its truth is ours, so agreement with it proves consistency of the program with itself and nothing about real
wire: the walls, noises and correlation lengths are invented.
"""
