"""What limits on the run order do and do not do, told from what plan.json holds (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import latin
from toolkit.design.orders import ALONG, Order
from toolkit.wording import joined

KEY = "order_set"


def lines(brief: Brief, plan: Mapping[str, Any]) -> tuple[str, ...]:
    """The orders that were drawn from, what the exact test can still show, and what is not protected against.

    Parameters
    ----------
    brief : Brief
    plan : mapping
        What plan.json holds.

    Returns
    -------
    tuple of str
        Empty where the brief limits nothing.
    """
    held = plan.get(KEY)
    if not held:
        return ()
    told = [f"{held['sentence']}."]
    for row in held["exact"]:
        if row["smallest_p"] is None:
            told.append(f"{row['comparison']}: {row['why']}.")
            continue
        floor = f"no p below {row['smallest_p']:.2g} can come out"
        short = f": above alpha = {brief.alpha:g}, so that it can show nothing" * (row["smallest_p"] > brief.alpha)
        orders = f"{row['orders']:,} order{'' if row['orders'] == 1 else 's'}"
        told.append(f"{row['comparison']}: the exact test goes through {orders}, {floor}{short}.")
    bends = ", or bends there" if held["most_quadratic"] is not None else ""
    return (
        *told,
        f"The limits keep estimates free of drift that is straight over the campaign or alike in every build{bends}. "
        f"They do not help against a step, a bad day, or anything that comes with a level itself. The narrower they "
        f"are, the fewer orders are left to draw from, and the less the exact test can show.",
    )


def pointer(order: Order) -> str:
    """Where to limit how comparisons go along with the run order; empty where none does, or where it is limited.

    Parameters
    ----------
    order : Order
    """
    brief = order.design.brief
    if order.design.phase == "pilot" or brief.order is not None or by_position.divided(brief) or latin.used(brief):
        return ""
    found = order.drift[["comparison", "with_run_order"]].dropna().to_dict("records")
    along = [
        f"{row['comparison']} ({row['with_run_order']:+.2f})".replace("-", "−")
        for row in found
        if abs(row["with_run_order"]) >= ALONG
    ]
    if not along:
        return ""
    return (
        f"{joined(along)} {'goes' if len(along) == 1 else 'go'} along with the run order: a steady drift would move "
        f"{'it' if len(along) == 1 else 'them'}. Section [order] of campaign.toml, with most_linear, lets only orders "
        f"be drawn that keep every comparison below a limit; it counts for a plan that is sealed with it."
    )
