"""Whose box it is. For the turn-in desk alone, and, once the tally is closed, for the results."""

from contest.models import Box, Category, Contest, Entry, LabelCorrection, Pairing


def entry_of_boxes(contest: Contest) -> dict[int, Entry]:
    """Box pk → entry for the standing draw: as drawn, with the desk's label corrections applied in their order."""
    owners = {
        pairing.box_id: pairing.entry
        for pairing in Pairing.objects.filter(box__contest=contest, box__draw__standing=True).select_related(
            "entry__team"
        )
    }
    corrections = LabelCorrection.objects.filter(contest=contest, one__draw__standing=True)
    for one, other in corrections.order_by("pk").values_list("one_id", "other_id"):
        owners[one], owners[other] = owners[other], owners[one]
    return owners


def boxes_of_teams(category: Category) -> dict[int, Box]:
    """Team number → that team's box of the standing draw in `category`, ascending by team number."""
    boxes = Box.objects.filter(category=category, draw__standing=True).select_related("table", "category")
    owners = entry_of_boxes(category.contest)
    return dict(sorted((owners[box.pk].number, box) for box in boxes))
