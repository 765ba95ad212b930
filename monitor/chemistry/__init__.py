"""The chemistry of making SO2, and the numbers it rests on. Pure; every constant with its source."""
