"""What follows from the entries of one visit: pure trade logic, no sound, screen or log."""
