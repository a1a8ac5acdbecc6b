"""Papers that only the turn-in desk prints: the labels, and the ledger, which says whose box is whose."""

from contest.models import Contest
from contest.selectors.boxes import standing_boxes
from contest.selectors.desk import desk_categories
from contest.selectors.draw import standing_draw
from reports.paper.grids import GRID_NAMES, PAGE_NAMES
from reports.paper.look import Options
from reports.paper.sheet import Sheet, qr_picture

#: One on the lid, one on the bottom.
LABELS_A_BOX = 2


def labels(contest: Contest, options: Options) -> list[Sheet]:
    """Two labels side by side in order for every box, by number: the order tells nothing of teams."""
    boxes = standing_boxes(contest).filter(category__cancelled_at__isnull=True).order_by("number")
    draw = standing_draw(contest)
    each = []
    for box in boxes:
        each += [{"category": box.category.name, "number": box.number, "qr": qr_picture(box.number)}] * LABELS_A_BOX
    grid = options.label_grid
    pages = [
        [
            {**label, "column": place % grid.columns, "row": place // grid.columns}
            for place, label in enumerate(each[start : start + grid.a_page])
        ]
        for start in range(0, len(each), grid.a_page)
    ]
    # A few pages at a time: their boxes need not be laid out together.
    return [Sheet("labels", {"pages": [page], "draw": draw}) for page in pages]


def label_test(contest: Contest, options: Options) -> list[Sheet]:
    """The outlines of the labels, to hold against the light behind a real label sheet."""
    grid = options.label_grid
    frames = [{"column": place % grid.columns, "row": place // grid.columns} for place in range(grid.a_page)]
    context = {
        "frames": frames,
        "grid": GRID_NAMES[options.grid],
        "page": PAGE_NAMES[options.size],
        "options": options,
    }
    return [Sheet("label_test", context)]


def ledger(contest: Contest, options: Options) -> list[Sheet]:
    """The cover of the envelope, then a list for each category by team number."""
    draw = standing_draw(contest)
    found = [Sheet("envelope", {"contest": contest, "draw": draw})]
    for each in desk_categories(contest):
        found.append(Sheet("ledger", {"contest": contest, "draw": draw, "each": each, "rows": each.rows}))
    return found
