"""worksprog: a golf course's improvement works, from survey to committee."""
