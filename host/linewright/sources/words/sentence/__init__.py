"""From words to who does what to whom, left to right.

`cursor` -> `nouns` -> `settings` -> `attachments` -> `clauses`: each adds the rules for one kind of words to the class
before it, because all of them share one place in the sentence. `sources.words.reading` reads whole sentences with it.
"""
