"""Pictures with what they show and how they are misread, as a page of the guide (rank 10)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from markupsafe import Markup

from toolkit.plot.gallery import Picture
from toolkit.report.show import show
from toolkit.report.view import Shown

_TEXT = Markup(
    "<h3>{}</h3><p>{}</p><p><b>Misread:</b> {}</p><p>Drawn by <code>toolkit.plot.{}</code>; "
    "<code>wearbook explain {}</code> says where the guide has it.</p>"
)


def page(pictures: Iterable[tuple[Picture, Any, str]]) -> None:
    """Show pictures below their names, each with what it shows, how it is misread and what draws it.

    Parameters
    ----------
    pictures : iterable of (Picture, Axes or Figure, str)
        With the text alternative.
    """
    from IPython.display import display

    for item, drawn, alt in pictures:
        name = item.name[:1].upper() + item.name[1:]
        display(Shown([_TEXT.format(name, item.shows, item.misread, item.call, item.name)]))
        show(drawn, alt)
