"""The fonts of every printed page: one that is embedded holds names of any Latin, Greek or Cyrillic spelling.

Chinese, Japanese and Korean names are set in the fonts that readers of PDF bring for these scripts: a font
with all their signs would be larger than the tables it goes with.
"""

import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from measure.errors import InvalidInput

# radicals and signs of the three scripts, their syllables and wide letters
EAST_ASIAN = re.compile("[\u1100-\u11ff\u2e80-\u9fff\uac00-\ud7af\uf900-\ufaff\uff00-\uffef]+")
_HANGUL, _KANA = re.compile("[\u1100-\u11ff\uac00-\ud7af]"), re.compile("[\u3040-\u30ff]")


def east_asian_font(words: str) -> str:
    """Return the name of a font for Chinese, Japanese or Korean words, ready for use.

    Examples
    --------
    >>> east_asian_font("榛子"), east_asian_font("ヘーゼルナッツ"), east_asian_font("헤이즐넛")
    ('STSong-Light', 'HeiseiKakuGo-W5', 'HYGothic-Medium')
    """
    korean, japanese = _HANGUL.search(words), _KANA.search(words)
    name = "HYGothic-Medium" if korean else "HeiseiKakuGo-W5" if japanese else "STSong-Light"
    _register(name)
    return name


def with_east_asian(markup: str) -> str:
    """Return paragraph markup with its Chinese, Japanese or Korean words in a font that has them.

    One font serves all such words of a text, as a Japanese name holds signs that Chinese ones have too.
    """
    if not EAST_ASIAN.search(markup):
        return markup
    return EAST_ASIAN.sub(rf'<font name="{east_asian_font(markup)}">\g<0></font>', markup)


@cache
def _register(name: str) -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.cidfonts import UnicodeCIDFont

    pdfmetrics.registerFont(UnicodeCIDFont(name))


def font_folder() -> Path:
    """Return the folder of the fonts that come with the chart library.

    Raises
    ------
    InvalidInput
        If they are not there.
    """
    found = find_spec("matplotlib")
    places = found.submodule_search_locations if found is not None else None
    if not places:
        raise InvalidInput("The fonts for printing are missing; install the program again.")
    return Path(places[0]) / "mpl-data" / "fonts" / "ttf"
