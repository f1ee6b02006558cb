"""The reader of natural speech: words as they come, entries as they are meant.

Pure, without sound: `tables` reads what can be said, `spans` finds it in the words, `frames`
puts it together, `reader` does all of it.
"""
