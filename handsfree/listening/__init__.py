"""The live loop: sound in, notes kept, answers given."""
