"""The bench that is not there: a plant, a board and their faults, simulated. Shares no physics with the account."""
