"""What a record is: entries by kind, and units."""
