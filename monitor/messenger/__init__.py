"""Messages to people: a process of its own beside the run, so that it outlives a run that dies and can say so."""
