"""The release before, serving while this one migrates."""
