"""Many teams or judges at once: paste or upload, look, confirm."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.models import Contest
from contest.services import imports
from contest.tablefile import Rows
from contest.views.listimport import ListImport, empty_table_answer


@dataclass(frozen=True)
class Kind:
    """What differs between a list of teams and one of judges."""

    name: str  # plural
    back: str
    columns: Sequence[str]
    hints: Sequence[str]
    example: str
    check: Callable[[Contest, Rows], imports.Preview]
    write: Callable[..., int]

    @property
    def legend(self) -> list[tuple[str, str]]:
        return list(zip(self.columns, self.hints, strict=True))

    def into(self, request: Request, contest: Contest) -> ListImport:
        """The import of this kind of list into a contest."""

        def write(rows: Rows, shown: Sequence[int]) -> int:
            return self.write(contest=contest, rows=rows, shown=shown)

        def done(number: int, left_out: int) -> HttpResponse:
            rest = f" {left_out} left out." if left_out else ""
            messages.success(request, f"{number} {self.name} imported.{rest}")
            return redirect(self.back, contest.slug)

        return ListImport(
            about=f"import of {self.name} into {contest.uid}",
            check=partial(self.check, contest),
            write=write,
            done=done,
            template="contest/import.html",
            context={"contest": contest, "kind": self},
        )


KINDS = {
    "teams": Kind(
        name="teams",
        back="contest:teams",
        columns=list(imports.TEAM_COLUMNS),
        hints=imports.TEAM_HINTS,
        example="1, Team Alder, Cook Alder, Example Town\n2, Team Birch\nTeam Cedar",
        check=imports.check_teams,
        write=imports.import_teams,
    ),
    "judges": Kind(
        name="judges",
        back="contest:judges",
        columns=list(imports.JUDGE_COLUMNS),
        hints=imports.JUDGE_HINTS,
        example="Judge Larch, 12\nJudge Maple, 3, 7; 9\nJudge Rowan",
        check=imports.check_judges,
        write=imports.import_judges,
    ),
}


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def team_import(request: Request, contest: Contest) -> HttpResponse:
    return KINDS["teams"].into(request, contest).answer(request)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def judge_import(request: Request, contest: Contest) -> HttpResponse:
    return KINDS["judges"].into(request, contest).answer(request)


@require_GET
@for_parts("organiser")
def empty_table(request: Request, contest: Contest, kind: str, ending: str) -> HttpResponse:
    """A table to fill in."""
    if kind not in KINDS:
        raise Http404("No such file.")
    asked = KINDS[kind]
    return empty_table_answer(kind, kind.capitalize(), asked.columns, asked.hints, ending)
