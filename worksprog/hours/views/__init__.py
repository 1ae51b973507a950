"""The pages: the crew's phone, the manager's week, progress of a programme."""
