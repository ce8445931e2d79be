"""The list as one printable page with boxes to tick, for whoever stands at the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.pages import page_template
from assembler.retakes.telling import CAUTION, MOST_SUSPECTS, plays_words, suspect_words
from assembler.verdict.states import shares_words

if TYPE_CHECKING:
    from assembler.retakes.model import Retakes

# Read when the module is: that it is missing is to be reported before the work and not after.
_TEMPLATE = page_template("assembler.retakes", "retakes.html.j2")


def retakes_page(retakes: Retakes) -> str:
    """Return the list as one HTML page that needs nothing but itself: no script, no font, no picture."""
    return _TEMPLATE.render(
        retakes=retakes,
        caution=CAUTION,
        plays=plays_words,
        shares=shares_words,
        listen=[suspect_words(one) for one in retakes.suspects[:MOST_SUSPECTS]],
    )
