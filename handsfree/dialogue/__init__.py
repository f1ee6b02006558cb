"""The state of a visit while it is spoken, and the answers to what is said."""
