"""Parser classes: from words to subjects, acts and objects, left to right.

`cursor` -> `nouns` -> `settings` -> `attachments` -> `clauses`: each class extends the one before with rules for one
kind of words, because all share one position in the sentence. `sources.words.reading` parses whole sentences with the
last.
"""
