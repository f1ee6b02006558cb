"""Sheets for the owner, the vet and the next visit, made of a history."""
