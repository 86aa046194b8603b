"""A sentence becomes a picture, by a picture maker of the user's own choice; this project brings none.

A maker is a command line or an HTTP endpoint, described in a TOML file. What it gives back is a picture file like any
other, kept by sentence, and goes on through the same door as a file that the user names. Nobody's service is built
in, nothing is asked of the network unless that file says so, and secrets come from the environment alone: they are
neither kept, nor shown, nor sent to another host than the one the file names.

The way of a sentence through this package::

    sentence (subjects) -> kept already? (shelf) -> the maker (command or endpoint) -> is it a picture? (kinds) -> shelf
"""

from linewright.maker.making import Made, picture_of
from linewright.maker.setup import EXAMPLE, Maker, find_maker, load_maker, new_maker

__all__ = ["EXAMPLE", "Made", "Maker", "find_maker", "load_maker", "new_maker", "picture_of"]
