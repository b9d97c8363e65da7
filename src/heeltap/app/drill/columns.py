"""The columns of a drill: what the session judges while you play it.

Inside: `columns_for`.
"""

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.leading import shift_us
from heeltap.app.drill.settings import Settings
from heeltap.app.route.route import Route
from heeltap.model.notes import Notes
from heeltap.session.plan_columns import PlanColumns, columns_of

__all__ = ["columns_for"]


def columns_for(drill: Drill, settings: Settings, route: Route, ahead: Notes | None) -> PlanColumns:
    """The columns of a drill as it is played through a route, against the drums where they lead.

    Parameters
    ----------
    drill : Drill
    settings : Settings
    route : Route
    ahead : Notes, optional
        The drums that lead; None is the click.

    Returns
    -------
    PlanColumns
    """
    return columns_of(
        drill.plan,
        title=drill.title,
        lean_ms=drill.lean_ms,
        pocket_ms=drill.pocket_ms,
        delay_ms=route.delay_ms,
        count_in_bars=drill.count_in_bars,
        run_in_us=drill.run_in_us,
        bar_numbers=drill.bar_numbers,
        split_key=settings.player.split_key,
        retrigger_ms=settings.retrigger_ms,
        retrigger_of=settings.player.retrigger_of,
        shift_us=None if ahead is None else shift_us(drill.plan, ahead),
    )
