"""What the set-up has reached and what is missing, for the day's first step, in the order a person would do it."""

from django.urls import NoReverseMatch, reverse

from contest.day import Step, Todo
from contest.models import Contest
from contest.rules.say import listed
from contest.selectors.setup import windows


def page(url_name: str, contest: Contest) -> str:
    """The address of a room of the contest; empty where it is not part of this installation."""
    try:
        return reverse(url_name, kwargs={"slug": contest.slug})
    except NoReverseMatch:
        return ""


def setup_steps(contest: Contest, step: Step) -> None:
    """Rule set, categories, tables and teams: facts as lines, what is missing as todos until the draw."""
    categories, tables = windows(contest), contest.tables.count()
    teams = contest.entries.count()
    step.lines.append(contest.rule_set.name)
    if categories:
        times = [f"{contest.local(each.turn_in_at):%H:%M}" for each in (categories[0], categories[-1])]
        span = times[0] if times[0] == times[1] else f"{times[0]} to {times[1]}"
        name = "category" if len(categories) == 1 else "categories"
        step.lines.append(f"{len(categories)} {name}, {span}")
    if tables:
        step.lines.append(digits(tables, "table"))
    if teams:
        step.lines.append(digits(teams, "team"))
    if contest.is_drawn:
        return
    step.state = "now"
    if not categories:
        step.todos.append(
            Todo("Add the categories and their turn-in times.", page("contest:category_new", contest), "Add one")
        )
    if not tables:
        step.todos.append(Todo("Say how many tables judge, and their seats.", page("contest:setup", contest), "Set up"))
    if not teams:
        step.todos.append(Todo("Enter the teams.", page("contest:teams", contest), "Enter teams"))
    elif categories:
        skipped = [each.name for each in categories if not each.entered.filter(withdrawn_at=None).exists()]
        if skipped:
            rest = "it" if len(skipped) == 1 else "them"
            text = f"No team has entered {listed(skipped, 'or')}. Enter some, or remove {rest}."
            step.todos.append(Todo(text, page("contest:teams", contest), "Show teams"))


def digits(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
