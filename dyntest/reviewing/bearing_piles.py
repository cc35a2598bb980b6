"""The bearing piles of a structure held against the criterion of its reviewed test piles."""

from collections.abc import Sequence

from dyntest.decisions.bearing_piles import BearingPileCheck, check_bearing_piles
from dyntest.decisions.combined_criterion import combinable, combine
from dyntest.decisions.pay_length import toe_elevation
from dyntest.errors import InputError
from dyntest.reading.production_log import PileTable, ProductionLog
from dyntest.reading.wording import known_as
from dyntest.reviewing.review import Review


def review_bearing_piles(
    reviews: Sequence[Review], log: ProductionLog, piles: PileTable | None = None
) -> BearingPileCheck:
    """Hold every pile of a production log against the criterion of one or several test piles."""
    criteria = []
    for review in reviews:
        found = review.answers.criterion
        if found is None or found.criterion is None:
            cure = 'see "dyntest review" for what stands against it'
            raise InputError(known_as(review.sheet.path), "", f"there is no driving criterion{_why(review)}", cure)
        criteria.append(found)
    sheet = reviews[0].sheet
    depths = {review.sheet.pile_name: penetration_of_test_pile(review) for review in reviews}
    known = {pile: depth for pile, depth in depths.items() if depth == depth}
    return check_bearing_piles(
        log,
        combine([combinable(one) for one in criteria]),
        piles,
        test_toe_elevations=_elevations(known, piles),
        test_penetrations=tuple(known.values()),
        tip_reinforcement=sheet.pile.tip_reinforcement or 0.0,
    )


def _why(review: Review) -> str:
    """Give the kind of what stands against a criterion, in brackets."""
    answers = review.answers
    if answers.criterion_problem is not None:
        return f" ({answers.criterion_problem.kind})"
    found = () if answers.criterion is None else answers.criterion.cautions
    kinds = [caution.kind for caution in found if caution.kind in ("no usable stroke", "stroke not reached")]
    return f" ({kinds[0]})" if kinds else ""


def penetration_of_test_pile(review: Review) -> float:
    """Give how deep a test pile stood at the end of its initial drive.

    Units: returns [m].
    """
    initial = [drive for drive in review.drives if drive.kind == "initial"]
    return float(initial[-1].table["penetration"].iloc[-1]) if initial else float("nan")


def _elevations(depths: dict[str, float], piles: PileTable | None) -> tuple[float, ...]:
    """Give the toe elevations of the test piles; none where one of them is not in the table."""
    if piles is None or not all(pile in piles.pile for pile in depths):
        return ()
    at = {pile: piles.pile.index(pile) for pile in depths}
    return tuple(
        float(toe_elevation(piles.ground_elevation[at[pile]], depth, piles.batter[at[pile]]))
        for pile, depth in depths.items()
    )
