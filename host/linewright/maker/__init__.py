"""A picture for a sentence, made by a program or web service of the user's choice; none is included.

A maker is a command line or an HTTP endpoint, described in a TOML file. It returns a picture file, which is cached by
sentence and then treated like a file named by the user. No service is built in, and the network is used only as that
file says. Secrets come from environment variables only; they are not stored, shown, or sent to any other host than the
file names.

How a sentence passes through this package::

    sentence (subjects) -> kept already? (shelf) -> the maker (command or endpoint) -> is it a picture? (kinds) -> shelf
"""

from linewright.maker.making import Made, picture_of
from linewright.maker.setup import EXAMPLE, Maker, find_maker, load_maker, new_maker

__all__ = ["EXAMPLE", "Made", "Maker", "find_maker", "load_maker", "new_maker", "picture_of"]
