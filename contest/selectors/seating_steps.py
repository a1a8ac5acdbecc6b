"""What the judges and their seats add to the day's first step."""

from django.urls import reverse

from contest.day import Step, Todo
from contest.models import Contest
from contest.selectors.seating import seating


def seating_steps(contest: Contest, step: Step) -> None:
    """How many judges sit, and what is wrong with the seating. A contest without a list of judges is complete too."""
    listed = contest.attendances.count()
    if not listed or not contest.is_sealed:
        return
    view = seating(contest)
    seated = sum(len(table.experience) for table in view.tables)
    step.lines.append(f"{listed} judge{'s' * (listed != 1)}, {seated} seated")
    page = reverse("contest:seating", args=[contest.slug])
    if not view.anybody and view.tables:
        step.todos.append(Todo("The judges have no seats yet.", page, "Seat them"))
    step.todos.extend(Todo(problem, page, "The seating") for problem in view.problems)
